"""What a reader is, and what a person may answer when a file does not say it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal, Protocol

from wattproof.waveform import Recording


@dataclass(frozen=True, kw_only=True)
class Answers:
    """What the person, or the bench file, says that the file itself leaves open; None means not said.

    Attributes
    ----------
    rate_hz : float > 0 or None
        Samples a second; it overrules the file's own clock, with the notice ``rate-overruled``.
    time_unit : str or None
        Unit of the time column: "s", "ms", "us", "ns", "ps".
    time_column : int or str or None
        Column (counted from 1) or header name of the time; 0 says there is none.
    units : mapping of str to str
        Unit of a channel, by its name or its number counted from 1: ``{"2": "V"}``.
    delimiter : str or None
        Cell separator of a text file.
    decimal : "." or "," or None
        Decimal mark of a text file.
    dataset : str or None
        Which variable of a file that holds several arrays.
    """

    rate_hz: float | None = None
    time_unit: str | None = None
    time_column: int | str | None = None
    units: Mapping[str, str] = field(default_factory=dict)
    delimiter: str | None = None
    decimal: Literal[".", ","] | None = None
    dataset: str | None = None


class Reader(Protocol):
    """A file format: its name, usual suffixes, how its first bytes look, and how it is opened."""

    name: str
    suffixes: tuple[str, ...]

    def sniff(self, head: bytes) -> bool:
        """Say whether a file that starts with `head` (its first 4096 bytes, or all of a shorter one) is this format."""
        ...

    def open(self, path: Path, answers: Answers) -> Recording:
        """Open the file: raises an `InputError` rather than guess; all that is doubtful goes to ``notices``."""
        ...
