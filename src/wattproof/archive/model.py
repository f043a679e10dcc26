"""The documents of a session, typed, and the handles that other rooms hold."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, JsonValue

from wattproof.amplifier import Amplifier
from wattproof.bench import Bench
from wattproof.errors import Notice
from wattproof.measure import CaptureResult, Kind, Views

SCHEMA = 1
"""Number of the layout that this version writes."""

_SHA256 = "^[0-9a-f]{64}$"


class _Document(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class SessionRecord(_Document):
    """``session.json``: what the session is about. Written once, when the session begins."""

    schema_: int = Field(default=SCHEMA, alias="schema")
    wattproof: str = Field(description="version that wrote it")
    id: str = Field(description="name of the folder when it was made")
    started: AwareDatetime
    note: str = ""
    amplifier: Amplifier
    bench: Bench
    files: dict[str, str] = Field(description="SHA-256 of the files kept beside it: amplifier.toml, bench.toml")

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


class Description(_Document):
    """What a capture was taken for, and what a person had to say so that it can be read."""

    step: str | None = Field(default=None, description="step of the run sheet")
    kind: Kind | None = Field(default=None, description="null: told from the samples")
    load: str | None = Field(default=None, description="name of a load of the bench")
    reader: str | None = Field(default=None, description="the reader that knew its format")
    answers: dict[str, JsonValue] = Field(default_factory=dict, description="what the file does not say")
    note: str = ""


class CaptureRecord(_Document):
    """``capture.json``: one imported file and what it was taken for."""

    schema_: int = Field(default=SCHEMA, alias="schema")
    wattproof: str
    number: int = Field(ge=1)
    folder: str = Field(description="name of its folder under captures/")
    file: str = Field(description="the file's name where it came from")
    original: str = Field(pattern=r"^original(\.[a-z0-9]{1,12})?$", description="its name here, byte for byte")
    sha256: str = Field(pattern=_SHA256)
    size_bytes: int = Field(ge=0)
    added: AwareDatetime
    description: Description

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


class MeasuredCapture(_Document):
    """A capture as it was measured: its bytes, its description then, and its results (one a row of typed readings)."""

    number: int
    sha256: str = Field(pattern=_SHA256)
    description: Description
    results: tuple[CaptureResult, ...]


class FiguresFile(_Document):
    """``figures.json``: every figure and all that it was made from. No time of day in it: equal inputs, equal bytes."""

    schema_: int = Field(default=SCHEMA, alias="schema")
    wattproof: str
    inputs: dict[str, str] = Field(description="SHA-256 of amplifier.toml and bench.toml")
    settings: dict[str, JsonValue] = Field(default_factory=dict, description="options that `measure` was given")
    captures: tuple[MeasuredCapture, ...]

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)

    @property
    def results(self) -> tuple[CaptureResult, ...]:
        """All results, capture by capture."""
        return tuple(result for capture in self.captures for result in capture.results)


class ViewsFile(_Document):
    """``views-*.json``: what pages draw beside the figures of that hash; losing it loses no figure."""

    schema_: int = Field(default=SCHEMA, alias="schema")
    figures_sha256: str = Field(pattern=_SHA256)
    captures: dict[int, tuple[Views, ...]]

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


class HistoryEvent(_Document):
    """One file of ``history/``: something that was done to the session and succeeded."""

    schema_: int = Field(default=SCHEMA, alias="schema")
    wattproof: str
    at: AwareDatetime
    did: Literal["measured", "described"]
    details: dict[str, JsonValue] = Field(default_factory=dict)

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


@dataclass(frozen=True, kw_only=True)
class Session:
    """A session's folder and what its ``session.json`` says."""

    folder: Path
    record: SessionRecord

    @property
    def id(self) -> str:
        """Name of the folder, which is what one calls the session by."""
        return self.folder.name

    @property
    def amplifier(self) -> Amplifier:
        """The amplifier as it was when the session began."""
        return self.record.amplifier

    @property
    def bench(self) -> Bench:
        """The bench as it was when the session began."""
        return self.record.bench


@dataclass(frozen=True, kw_only=True)
class Listing:
    """Sessions in the order of their names (so of their dates), and what is wrong with those that cannot be opened."""

    sessions: Sequence[Session]
    notices: Sequence[Notice] = ()


@dataclass(frozen=True, kw_only=True)
class Change:
    """Something in a session that is not as it was written.

    Attributes
    ----------
    path : str
        Relative to the session's folder, with forward slashes.
    what : str
        "missing", "changed", "damaged", "renamed" or "half-written".
    detail : str
        The numbers: what was expected and what was found.
    """

    path: str
    what: Literal["missing", "changed", "damaged", "renamed", "half-written"]
    detail: str = ""


class FoundFigure(_Document):
    """A figure found by the index, with where it stands."""

    session: str
    maker: str
    model: str
    capture: int
    name: str
    output: str | None
    value: float
    u: float
    unit: str
    k95: float
    conditions: dict[str, JsonValue]
    origin: str


@dataclass(frozen=True, kw_only=True)
class FigureListing:
    """Figures found in the archive, and what was doubtful about the search."""

    figures: Sequence[FoundFigure]
    notices: Sequence[Notice] = ()
