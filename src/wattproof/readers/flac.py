"""FLAC through libsndfile; what the header claims is checked against what can be decoded."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from wattproof.errors import BrokenFileError, Notice
from wattproof.readers.contract import Answers
from wattproof.readers.overrule import audio_answers
from wattproof.readers.wav_text import plain
from wattproof.waveform import Channel, Waveform

if TYPE_CHECKING:
    import soundfile

STREAMINFO_BYTES = 42  # the marker, a block header, and what the decoder must know


@dataclass(frozen=True, kw_only=True, eq=False)
class FlacRecording:
    """A `Recording` decoded as it is read; float32 keeps every code of FLAC's 24 bits.

    Attributes
    ----------
    whole : bool
        Whether the file can be decoded to its end; a damaged one is read from its start only.
    """

    path: Path
    rate_hz: float
    n_samples: int
    channels: tuple[Channel, ...]
    whole: bool = True
    metadata: Mapping[str, str] = field(default_factory=dict)
    notices: tuple[Notice, ...] = ()
    reader: str = "flac"
    start_s: float = 0.0

    @property
    def source(self) -> str:
        """The file's name."""
        return self.path.name

    def read(self, start: int = 0, stop: int | None = None) -> Waveform:
        """Give samples `start` to `stop` (exclusive; to the end when left out), float64."""
        start, stop, _ = slice(start, stop).indices(self.n_samples)
        samples = np.empty((len(self.channels), max(stop - start, 0)))
        first = start if self.whole else 0
        at = first
        for block in self._pieces(first, stop, 1 << 16):
            skip = max(start - at, 0)
            if skip < len(block):
                samples[:, at + skip - start : at + len(block) - start] = block[skip:].T
            at += len(block)
        return Waveform(
            samples=samples, rate_hz=self.rate_hz, channels=self.channels, start_s=self.start_s + start / self.rate_hz
        )

    def blocks(self, samples: int) -> Iterator[NDArray[np.float32]]:
        """Give the record in order as arrays of shape (at most `samples`, n_channels), each valid until the next."""
        yield from self._pieces(0, self.n_samples, samples)

    def _pieces(self, start: int, stop: int, samples: int) -> Iterator[NDArray[np.float32]]:
        import soundfile

        room = np.empty((max(0, min(samples, stop - start)), len(self.channels)), dtype=np.float32)
        with soundfile.SoundFile(self.path) as file:
            self._go_to(file, start)
            for at in range(start, stop, samples):
                wanted = min(samples, stop - at)
                got, reason = _decode(file, room[:wanted])
                if got < wanted:
                    raise _damaged(self.source, at + got, self.n_samples, reason)
                yield room[:wanted]

    def _go_to(self, file: "soundfile.SoundFile", start: int) -> None:
        import soundfile

        try:
            file.seek(start)
        except soundfile.LibsndfileError as error:
            raise _damaged(self.source, start, self.n_samples, error.error_string) from error


class FlacReader:
    """Reads FLAC; values are fractions of full scale."""

    name = "flac"
    suffixes = (".flac", ".fla")

    def sniff(self, head: bytes) -> bool:
        """Say whether the first bytes are FLAC's marker and the block that must follow it."""
        return head[:4] == b"fLaC" and len(head) > 4 and head[4] & 0x7F == 0

    def open(self, path: Path, answers: Answers) -> FlacRecording:
        """Open a FLAC file, and find out how much of it can be decoded."""
        import soundfile

        with path.open("rb") as file:
            head = file.read(STREAMINFO_BYTES)
        try:
            with soundfile.SoundFile(path) as file:
                file_hz, n_channels, bits = file.samplerate, file.channels, _bits(head)
                metadata = {name: plain(str(text).encode()) for name, text in file.copy_metadata().items()}
        except soundfile.LibsndfileError as error:
            raise BrokenFileError(
                f"{path.name} cannot be decoded.",
                why=f"The FLAC decoder says: {error.error_string}",
                hint="Copy the file again, or export it again.",
            ) from error
        claimed = int.from_bytes(head[21:26], "big") & ((1 << 36) - 1)
        whole = claimed > 0 and _reaches(path, claimed)
        n_samples = claimed if whole else _decodable(path, n_channels, head)
        if n_samples < 1 or file_hz < 1:
            raise _damaged(path.name, 0, claimed, "not one block can be decoded")
        step = 2.0 ** (1 - bits)
        rate_hz, overruled = audio_answers(answers, float(file_hz))
        return FlacRecording(
            path=path,
            rate_hz=rate_hz,
            n_samples=n_samples,
            channels=tuple(
                Channel(name=str(number + 1), unit="FS", full_scale=1.0, step=step) for number in range(n_channels)
            ),
            whole=whole,
            metadata={"coding": f"{bits}-bit FLAC", **metadata},
            notices=(*_length(claimed, n_samples, whole), *overruled),
        )


def _bits(head: bytes) -> int:
    return ((head[20] & 1) << 4 | head[21] >> 4) + 1


def _reaches(path: Path, n_samples: int) -> bool:
    """Whether the last sample can be decoded."""
    import soundfile

    try:
        with soundfile.SoundFile(path) as file:
            if file.frames != n_samples:
                return False
            file.seek(n_samples - 1)
            return len(file.read(2)) == 1
    except soundfile.LibsndfileError:
        return False


def _decodable(path: Path, n_channels: int, head: bytes) -> int:
    """Count samples up to the first fault, in steps of the encoder's own blocks."""
    import soundfile

    block = max(16, int.from_bytes(head[10:12], "big"))
    room = np.empty((block, n_channels), dtype=np.float32)
    total = 0
    with soundfile.SoundFile(path) as file:
        while (got := _decode(file, room)[0]) == block:
            total += got
    return total + got


def _decode(file: "soundfile.SoundFile", room: NDArray[np.float32]) -> tuple[int, str]:
    """Fill `room` with the next samples; give how many came, and why no more did."""
    import soundfile

    room.fill(np.nan)  # what a fault leaves undecoded stays NaN
    try:
        return len(file.read(out=room)), "the stream ends there"
    except soundfile.LibsndfileError as error:
        # After the last sound sample before a fault this is no loss: all came, and only the step beyond them failed.
        return int(np.count_nonzero(~np.isnan(room[:, -1]))), error.error_string


def _length(claimed: int, n_samples: int, whole: bool) -> list[Notice]:
    if whole:
        return []
    if claimed == 0:
        return [
            Notice(
                code="unfinished-recording",
                message=f"The recorder did not finish: no length is stated; {n_samples} samples were decoded.",
                hint="Check that the record has the length you expect.",
                numbers={"present_samples": n_samples},
            )
        ]
    return [
        Notice(
            code="cut-off",
            message=f"The file is cut off or damaged: it claims {claimed} samples, and {n_samples} can be decoded.",
            hint="Use what is there with care, or copy the file again.",
            numbers={"claimed_samples": claimed, "present_samples": n_samples},
        )
    ]


def _damaged(source: str, at: int, n_samples: int, reason: str) -> BrokenFileError:
    return BrokenFileError(
        f"{source} is damaged.",
        why=f"Decoding stops at sample {at} of {n_samples}: {reason.rstrip('.')}.",
        hint="Copy the file again; if it is the only copy, export what a FLAC tool can save of it.",
    )
