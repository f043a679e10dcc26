"""`read`: what files were taken to be."""

from collections.abc import Sequence
from pathlib import Path

from pydantic import BaseModel, ConfigDict

from wattproof.readers import FileSummary, open_recording, summarize
from wattproof.tasks.files import shown_name
from wattproof.tasks.said import FileAnswers
from wattproof.waveform import RenamedRecording


class FileSummaries(BaseModel):
    """What `wattproof read` answers."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    files: tuple[FileSummary, ...]


def read(files: Sequence[Path], *, answers: FileAnswers | None = None) -> FileSummaries:
    """Show what each file was taken to be: rate, length, channels, units, ranges, and all that is doubtful.

    Parameters
    ----------
    files : sequence of Path
    answers : FileAnswers or None
        What the files do not say themselves.

    Raises
    ------
    InputError
        A file is missing, unknown, broken, no waveform, or leaves a question open.
    """
    said = (answers or FileAnswers()).answers()
    recordings = (RenamedRecording(inner=open_recording(path, said), source=shown_name(path)) for path in files)
    return FileSummaries(files=tuple(summarize(recording) for recording in recordings))
