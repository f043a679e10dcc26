"""What lies in an exported folder beside its tables, typed: the sidecar of a capture, and the index of all files."""

from datetime import date
from typing import Literal

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from wattproof import __version__


class _Document(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


class OriginalFile(_Document):
    """The file as it was recorded or imported; it is kept in the archive, byte for byte."""

    file: str = Field(description="its name where it came from")
    reader: str | None = Field(description="the reader that knew its format")
    sha256: str = Field(pattern="^[0-9a-f]{64}$", description="SHA-256 of its bytes")
    size_bytes: int = Field(ge=0, description="its size, bytes")


class SamplesFile(_Document):
    """The file beside the sidecar that holds the samples."""

    file: str = Field(description="its name, in the sidecar's folder")
    container: str = Field(description="FLAC, WAV or RF64; CSV for typed readings; original: kept as it came")
    coding: str | None = Field(description="PCM_16, PCM_24, FLOAT or DOUBLE; null where it holds no samples for sure")
    full_scale_code: int | None = Field(
        description="integer code that stands for 1.0, where a program gives codes: divide by it; null: no codes"
    )
    sha256: str = Field(pattern="^[0-9a-f]{64}$", description="SHA-256 of its bytes")
    size_bytes: int = Field(ge=0, description="its size, bytes")


class TrackFacts(_Document):
    """What a track of the recording is, and how its numbers become volts, amperes or kelvins."""

    track: int = Field(ge=1, description="counted from 1, as in the file")
    name: str = Field(description="its name in the original")
    role: str | None = Field(description="load_voltage, load_current, supply_voltage ...; null: the bench names none")
    output: str | None = Field(description="output of the amplifier; null where the role has none")
    unit: str | None = Field(
        description="unit of offset + factor x sample: V, A, or K or °C of a thermometer; null: not known"
    )
    factor: float | None = Field(description="unit per 1.0 of the sample, from the bench's calibration; null: none")
    offset: float | None = Field(description="in `unit`, added after the factor; null: none")
    factor_u: float | None = Field(description="relative standard uncertainty of the factor, a ratio; null: none")
    offset_u: float | None = Field(description="standard uncertainty of the offset, in `unit`; null: none")
    skew_s: float | None = Field(description="by how long the track lags the reference track, seconds; null: none")
    skew_u_s: float | None = Field(description="standard uncertainty of the skew, seconds; null: none")
    full_scale: float | None = Field(description="size of a sample at which the recorder clips; null: not known")
    calibrated: date | None = Field(description="day of the calibration; null: not stated")


class ExportedCapture(_Document):
    """The sidecar of an exported capture: all that is needed to make figures of its samples."""

    wattproof: str = Field(default=__version__, description="version that wrote it")
    schema_: Literal[1] = Field(default=1, alias="schema", description="version of this form")
    session: str = Field(description="name of the session's folder in the archive")
    maker: str = Field(description="who made the amplifier")
    model: str = Field(description="its model")
    capture: int = Field(ge=1, description="number of the capture within its session")
    step: str | None = Field(description="what it is of; null: not said")
    kind: str | None = Field(description="steady, ramp, burst, hold, idle or readings; null: nobody told")
    load: str | None = Field(description="name of the load in use; null: not said")
    load_ohm: float | None = Field(description="its resistance, measured cold, ohm; null: not known")
    void: str | None = Field(description="why no figure may be made of it; null: it is sound")
    note: str = Field(description="what was noted of it")
    began: AwareDatetime | None = Field(description="when the recording began; null: an imported file says no time")
    start_s: float | None = Field(description="time of the first sample on the recorder's own clock, seconds")
    sample_rate_hz: float | None = Field(description="samples a second; it counts where a WAV's head differs; Hz")
    samples: int | None = Field(description="samples of each track; null: typed readings")
    duration_s: float | None = Field(description="length, seconds")
    clock_u: float = Field(description="relative standard uncertainty of the sample clock, a ratio")
    formula: str = Field(
        default="offset + factor * sample; true time = time in the file - skew_s",
        description="how samples become numbers in the track's unit",
    )
    channels: tuple[TrackFacts, ...] = Field(description="an entry for each use of a track")
    original: OriginalFile
    samples_file: SamplesFile | None = Field(description="null: left out")
    problem: str | None = Field(default=None, description="why the samples are not in a common form; null: they are")


class IndexColumn(_Document):
    """A column of a table."""

    name: str = Field(description="the same in CSV and Parquet")
    type: Literal["text", "number", "integer", "truth"] = Field(
        description="text: UTF-8; number: 64-bit float; integer: 64-bit; truth: true or false"
    )
    unit: str | None = Field(description="SI unit of its numbers, 1 for ratios and counts; null: none, or `unit_in`")
    unit_in: str | None = Field(description="column of the same row that holds the unit; null: `unit` does")
    description: str = Field(description="what it says")


class IndexTable(_Document):
    """A table of the folder."""

    name: str = Field(description="what it is called")
    row: str = Field(description="what one row is")
    rows: int = Field(ge=0, description="how many there are")
    key: tuple[str, ...] = Field(description="columns that tell its rows apart")
    files: tuple[str, ...] = Field(description="the same table as CSV and as Parquet")
    columns: tuple[IndexColumn, ...] = Field(description="in their order")


class IndexSession(_Document):
    """A session of the folder."""

    session: str = Field(description="name of its folder in the archive")
    maker: str = Field(description="who made the amplifier")
    model: str = Field(description="its model")
    started: AwareDatetime = Field(description="when it began")
    note: str = Field(description="a line to remember it by")
    captures: int = Field(ge=0, description="how many captures it has")
    figures: int = Field(ge=0, description="how many figures were made of them")


class IndexFile(_Document):
    """A file of the folder."""

    path: str = Field(description="relative to the folder, with forward slashes")
    schema_: str | None = Field(alias="schema", description="a JSON file's schema, as wattproof schema NAME prints it")
    sha256: str = Field(pattern="^[0-9a-f]{64}$", description="SHA-256 of its bytes")
    size_bytes: int = Field(ge=0, description="its size, bytes")


class ExportIndex(_Document):
    """``index.json``: what an exported folder holds."""

    wattproof: str = Field(default=__version__, description="version that wrote it")
    schema_: Literal[1] = Field(default=1, alias="schema", description="version of this form")
    holds: Literal["exported measurements"] = "exported measurements"
    sessions: tuple[IndexSession, ...] = Field(description="oldest first")
    tables: tuple[IndexTable, ...] = Field(description="every table, with its columns")
    files: tuple[IndexFile, ...] = Field(description="every file but this one")
    problems: tuple[str, ...] = Field(default=(), description="what could not be exported, and why")
