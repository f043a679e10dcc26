"""The documents of a session, typed, and the handles that other rooms hold."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Literal

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, JsonValue

from wattproof.amplifier import Amplifier
from wattproof.bench import Bench
from wattproof.errors import Notice
from wattproof.measure import CaptureResult, Kind, Views
from wattproof.plan import RunSheet
from wattproof.waveform import Channel

SCHEMA = 2
"""Number of the layout that this version writes."""

_SHA256 = "^[0-9a-f]{64}$"

Deed = Literal["measured", "described", "voided", "planned", "answered", "cleared", "modelled", "judged"]
"""What the history tells of."""


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
    void: str | None = Field(default=None, min_length=1, description="why no figure may be made of it; it is kept")


class TakenLive(_Document):
    """Where a capture comes from that was recorded into the archive, not imported."""

    take: str = Field(description="name of the folder in which it was recorded")
    step: int = Field(ge=1, description="number of the step of the run sheet")
    began: AwareDatetime
    rate_hz: float = Field(gt=0)
    channels: tuple[Channel, ...] = Field(description="the recorder's, in the order of the tracks")
    n_samples: int = Field(ge=1)
    cut_off: bool = Field(default=False, description="true: whoever recorded it died before its end")


class TakeHead(_Document):
    """``take.json``: what is being recorded in that folder."""

    schema_: int = Field(default=SCHEMA, alias="schema")
    wattproof: str
    step: int = Field(ge=1)
    description: Description
    channels: tuple[Channel, ...] = Field(min_length=1)
    rate_hz: int = Field(gt=0)
    began: AwareDatetime
    pid: int

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


class TakeEnd(_Document):
    """``end.json``: the take came to its end, and how it is to be kept; written before it becomes a capture."""

    schema_: int = Field(default=SCHEMA, alias="schema")
    wattproof: str
    note: str = ""
    void: str | None = None
    until: int | None = Field(default=None, ge=0, description="number of samples to keep; null: all")

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


class CaptureRecord(_Document):
    """``capture.json``: one imported or recorded file and what it was taken for."""

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
    live: TakenLive | None = Field(default=None, description="null: imported")

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
    did: Deed
    details: dict[str, JsonValue] = Field(default_factory=dict)

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


class RunSheetFile(_Document):
    """``run-sheet.json``: what is done in which order; the one before it stands in the history."""

    schema_: int = Field(default=SCHEMA, alias="schema")
    wattproof: str
    at: AwareDatetime
    sheet: RunSheet

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


class Answered(_Document):
    """What a person answered to one question, and when."""

    text: str
    at: AwareDatetime


class AnswersFile(_Document):
    """``answers.json``: what a person said about the wiring, by the question's code."""

    schema_: int = Field(default=SCHEMA, alias="schema")
    wattproof: str
    answers: dict[str, Answered]

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


class TripRecord(_Document):
    """``trip.json``: why the guard stopped the drive, and the samples around it."""

    schema_: int = Field(default=SCHEMA, alias="schema")
    wattproof: str
    at: AwareDatetime
    trip: dict[str, JsonValue]
    channels: tuple[Channel, ...]
    rate_hz: float = Field(gt=0)
    n_samples: int = Field(ge=0)
    samples: str | None = Field(pattern=r"^samples\.(flac|wav)$", description="file beside this one; null: not kept")
    sha256: str | None = Field(pattern=_SHA256)

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


class ClearedFile(_Document):
    """``cleared.json``: what the person says who looked at the bench after a trip and lets it go on."""

    schema_: int = Field(default=SCHEMA, alias="schema")
    wattproof: str
    at: AwareDatetime
    who: str = Field(min_length=1)

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
class KeptTrip:
    """A trip as it is kept.

    Attributes
    ----------
    number : int
        Counted from 1 in the order of the trips.
    at : datetime
        When it was kept.
    trip : dict
        What the guard said.
    samples : Path or None
        The recording around it; None where there was none, or no room for it.
    rate_hz : float
        Its samples a second.
    channels : tuple of Channel
        Its tracks.
    cleared_by : str or None
        What the person said who let it go on; None while it is latched.
    """

    number: int
    at: datetime
    trip: dict[str, JsonValue]
    samples: Path | None
    rate_hz: float
    channels: tuple[Channel, ...]
    cleared_by: str | None


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


@dataclass(frozen=True, kw_only=True)
class OverviewListing:
    """What is told of every session, as JSON by its name; how many are unread; what was doubtful about asking."""

    told: Mapping[str, str]
    unread: int = 0
    notices: Sequence[Notice] = ()
