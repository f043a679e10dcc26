"""Every error raised on purpose, drawn as a tree, and the notice that is no error; imports nothing of ours.

::

    WattproofError                      a fault the person can mend: code, what, why with the numbers, what to do
    ├── InputError                      something that was given cannot be used                        exit status 2
    │   ├── FileMissingError            file-missing: no such file, or it may not be read
    │   ├── UnknownFormatError          unknown-format: no reader knows these bytes
    │   ├── BrokenFileError             broken-file: the format is known, its content contradicts itself
    │   ├── NotAWaveformError           not-a-waveform: a spectrum, a response, an object: no record in time
    │   ├── NeedsAnswerError            needs-answer: the file does not say it, so the person must
    │   ├── SettingsError               settings: a wrong key, unit or value in a TOML or CSV file
    │   ├── UsageError                  usage: words on the command line that are no command or no option
    │   ├── MeasureError                a figure cannot be had from this capture
    │   │   ├── TooFewCyclesError       too-few-cycles
    │   │   ├── NoToneError             no-tone
    │   │   ├── BeyondDataError         beyond-data: a prediction where the data say nothing
    │   │   └── MissingChannelError     missing-channel
    │   ├── RefusedError                refused: a run that the bench, a limit or an answer does not allow
    │   ├── PageError                   page: the workbench has no such page, or does not understand what was sent
    │   ├── PackError                   pack: no evidence pack, a broken one, or one built to do harm
    │   └── KeyFileError                key-file: a key cannot be read or made, or its passphrase is wrong
    ├── ArchiveError                    archive: a session cannot be read, or is not what its hashes say   exit status 2
    ├── BenchError                      something on the table does not answer, or not as it should       exit status 2
    │   ├── RigError                    rig: a part is missing, cannot be opened or cannot do what is asked
    │   ├── WireError                   wire: an instrument is silent, cut off, or speaks garbage
    │   └── CaptureFailedError          capture-failed: samples were lost or repeated; the capture must be taken again
    ├── FilmError                       film: a clip could not be made; nothing half is left              exit status 2
    ├── GuardTripError                  guard-trip: the guard has stopped the drive                        exit status 3
    └── InternalFaultError              internal-fault: ours, never the person's                          exit status 1
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

__all__ = [
    "ArchiveError",
    "BenchError",
    "BeyondDataError",
    "BrokenFileError",
    "CaptureFailedError",
    "FileMissingError",
    "FilmError",
    "GuardTripError",
    "InputError",
    "InternalFaultError",
    "KeyFileError",
    "MeasureError",
    "MissingChannelError",
    "NeedsAnswerError",
    "NoToneError",
    "NotAWaveformError",
    "Notice",
    "PackError",
    "PageError",
    "RefusedError",
    "RigError",
    "SettingsError",
    "TooFewCyclesError",
    "UnknownFormatError",
    "UsageError",
    "WattproofError",
    "WireError",
]


@dataclass(frozen=True, kw_only=True)
class Notice:
    """Something doubtful that the person should know: it never stops the work.

    Attributes
    ----------
    code : str
        Short, fixed, with hyphens: ``"clipped-input"``.
    message : str
        One sentence with the numbers in it.
    hint : str
        What to do about it.
    numbers : mapping of str to float
        The same numbers for machines, SI units in the names.
    """

    code: str
    message: str
    hint: str = ""
    numbers: Mapping[str, float] = field(default_factory=dict)


class WattproofError(Exception):
    """A fault the person can mend: a code, what failed, why with the numbers, and what to do.

    Parameters
    ----------
    message : str
        What failed, one sentence.
    why : str
        The reason, with the numbers.
    hint : str
        What to do; following it cures the error.
    """

    code = "wattproof"
    exit_status = 2

    def __init__(self, message: str, *, why: str = "", hint: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.why = why
        self.hint = hint

    def __str__(self) -> str:
        lines = [self.message]
        lines += [f"why: {self.why}"] if self.why else []
        lines += [f"try: {self.hint}"] if self.hint else []
        return "\n".join(lines)


class InputError(WattproofError):
    """Something that was given cannot be used."""

    code = "input"


class FileMissingError(InputError):
    """No such file, or it may not be read."""

    code = "file-missing"


class UnknownFormatError(InputError):
    """No reader knows these bytes."""

    code = "unknown-format"


class BrokenFileError(InputError):
    """The format is known, but the content contradicts itself."""

    code = "broken-file"


class NotAWaveformError(InputError):
    """A spectrum, a response or an object: no record in time."""

    code = "not-a-waveform"


class NeedsAnswerError(InputError):
    """The file does not say it, so the bench file, an option or the person must."""

    code = "needs-answer"


class SettingsError(InputError):
    """A wrong key, unit or value in a file that a person writes."""

    code = "settings"


class UsageError(InputError):
    """The words on the command line are no command, or no option of it."""

    code = "usage"


class MeasureError(InputError):
    """A figure cannot be had from this capture."""

    code = "measure"


class TooFewCyclesError(MeasureError):
    """The record is shorter than three cycles of its tone."""

    code = "too-few-cycles"


class NoToneError(MeasureError):
    """No tone stands out of the noise."""

    code = "no-tone"


class BeyondDataError(MeasureError):
    """A prediction is asked for where the captures say nothing: another load, supply voltage or limit."""

    code = "beyond-data"


class MissingChannelError(MeasureError):
    """The figure needs a channel that the capture or the bench file does not have."""

    code = "missing-channel"


class RefusedError(InputError):
    """A run sheet may not begin: the bench cannot bear it, or a question is unanswered or answered wrongly."""

    code = "refused"


class PageError(InputError):
    """The workbench has no such page, or what was sent to it cannot be understood or is too much."""

    code = "page"


class PackError(InputError):
    """No evidence pack, a broken one, or one that is built to do harm; nothing of it was written anywhere."""

    code = "pack"


class KeyFileError(InputError):
    """A key for signing cannot be read or made, or its passphrase is wrong."""

    code = "key-file"


class BenchError(WattproofError):
    """Something on the table does not answer, or not as it should."""

    code = "bench"


class RigError(BenchError):
    """A part of the rig is missing, cannot be opened, or cannot do what is asked of it."""

    code = "rig"


class WireError(BenchError):
    """An instrument is silent, cut off, or speaks what nobody understands."""

    code = "wire"


class CaptureFailedError(BenchError):
    """Samples were lost, repeated or came late: the capture is no record of what happened and must be taken again."""

    code = "capture-failed"


class FilmError(WattproofError):
    """A clip cannot be made: no encoder, a full disk, or the encoder stopped. Nothing half is left."""

    code = "film"


class GuardTripError(WattproofError):
    """The guard has stopped the drive; it stays stopped until a person clears it."""

    code = "guard-trip"
    exit_status = 3


class ArchiveError(WattproofError):
    """A session cannot be read or written, or is not what its hashes say."""

    code = "archive"


class InternalFaultError(WattproofError):
    """A fault of ours."""

    code = "internal-fault"
    exit_status = 1
