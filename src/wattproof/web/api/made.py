"""What long work leaves for a script: its answer and its files, under numbers, until the workbench forgets the work."""

import json
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from wattproof.web.api.faults import Fault, fault_of
from wattproof.web.jobs import Job


def _folder() -> "TemporaryDirectory[str]":
    return TemporaryDirectory(prefix="wattproof-job-", ignore_cleanup_errors=True)


@dataclass(kw_only=True)
class Made:
    """A folder of our own with what was given to the work and what it made.

    Attributes
    ----------
    answer : str
        The text of the object that the command prints with `--json`; empty until it is there.
    """

    answer: str = ""
    _home: "TemporaryDirectory[str]" = field(default_factory=_folder)

    @property
    def given(self) -> Path:
        """Where the files are that came with the request."""
        return Path(self._home.name, "given")

    @property
    def folder(self) -> Path:
        """Where the work puts its files."""
        return Path(self._home.name, "made")

    def files(self) -> list[Path]:
        """Give what it made, in an order that stays."""
        return sorted(path for path in self.folder.rglob("*") if path.is_file())

    def close(self) -> None:
        """Take it all away."""
        self._home.cleanup()


class JobFile(BaseModel):
    """A file that was made."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    name: str = Field(description="its name, with the folders it was made in")
    size_bytes: int
    address: str = Field(description="where to get it")


class JobShown(BaseModel):
    """Work that takes long: how far it is, and what came of it."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    number: int
    title: str
    state: Literal["waiting", "working", "done", "failed", "cancelled"]
    seconds: float = Field(description="how long it took, or has taken so far")
    lines: tuple[str, ...] = Field(description="what it has told, the newest last")
    answer: dict[str, Any] | None = Field(
        default=None, description="once it is done, what the command of the same name prints with --json"
    )
    files: tuple[JobFile, ...] = Field(default=(), description="what it made, once it is done")
    error: Fault | None = Field(default=None, description="why it has failed")


class JobsListed(BaseModel):
    """The work that was asked for with this cookie or token, as long as the workbench remembers it."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    jobs: tuple[JobShown, ...]


def shown(job: Job) -> JobShown:
    """Show how far a job is."""
    made = job.holding if isinstance(job.holding, Made) and job.state == "done" else None
    paths = [] if made is None else made.files()
    return JobShown(
        number=job.number,
        title=job.title,
        state=job.state,
        seconds=job.seconds,
        lines=tuple(job.lines),
        answer=json.loads(made.answer) if made is not None and made.answer else None,
        files=tuple(
            JobFile(
                name=path.relative_to(made.folder).as_posix(),
                size_bytes=path.stat().st_size,
                address=f"/api/jobs/{job.number}/files/{index}",
            )
            for index, path in enumerate(paths, start=1)
            if made is not None
        ),
        error=None if job.error is None else fault_of(job.error).error,
    )
