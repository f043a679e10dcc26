"""Comparisons that a page asked for: made as work of their own, and kept for a while."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from wattproof.errors import SettingsError
from wattproof.tasks.comparing import compare

if TYPE_CHECKING:
    from wattproof.report import ComparisonParts

MOST_KEPT = 20


@dataclass(frozen=True, kw_only=True)
class ComparisonAsked:
    """What is to be compared, and on which terms; empty terms are chosen from what the sessions share.

    Attributes
    ----------
    sessions : tuple of str
    load_ohm : tuple of float
    supply_v : float or None
    """

    sessions: tuple[str, ...]
    load_ohm: tuple[float, ...] = ()
    supply_v: float | None = None

    @classmethod
    def typed(cls, sessions: Sequence[str], *, loads: str = "", supply: str = "") -> "ComparisonAsked":
        """Take what was typed: loads apart by blanks or semicolons, and a supply voltage.

        Raises
        ------
        SettingsError
            A word of it is no number.
        """
        return cls(
            sessions=tuple(dict.fromkeys(name for name in sessions if name)),
            load_ohm=tuple(_number("Loads", word) for word in loads.replace(";", " ").split()),
            supply_v=_number("Supply voltage", supply.strip()) if supply.strip() else None,
        )


@dataclass(frozen=True, kw_only=True)
class ComparisonSeen:
    """A comparison as a page shows it.

    Attributes
    ----------
    parts : ComparisonParts
    at : datetime
        When it was made.
    """

    parts: "ComparisonParts"
    at: datetime


class Comparisons:
    """The comparisons of an archive that were asked for last.

    Parameters
    ----------
    archive : Path
        Its folder.
    """

    def __init__(self, archive: Path) -> None:
        self._root = archive
        self._made: dict[ComparisonAsked, ComparisonSeen] = {}

    def find(self, asked: ComparisonAsked) -> ComparisonSeen | None:
        """Give a comparison that was made; None where it was not."""
        return self._made.get(asked)

    def make(self, asked: ComparisonAsked, *, tell: Callable[[str], None] | None = None) -> ComparisonSeen:
        """Compare, and keep what is found.

        Raises
        ------
        ArchiveError, MeasureError, SettingsError
            As the task `compare` says.
        """
        from wattproof.report import comparison_parts

        found = compare(
            asked.sessions, archive=self._root, load=asked.load_ohm, supply=asked.supply_v, tell=tell
        ).comparison
        seen = ComparisonSeen(parts=comparison_parts(found), at=datetime.now().astimezone())
        self._made[asked] = seen
        for old in list(self._made)[:-MOST_KEPT]:
            del self._made[old]
        return seen


def _number(called: str, text: str) -> float:
    try:
        return float(text.replace(",", "."))
    except ValueError as error:
        raise SettingsError(
            f'{called}: "{text[:40]}" is no number.',
            why="it takes numbers with a point before their decimals, and no unit",
            hint="Correct it, or leave the field empty.",
        ) from error
