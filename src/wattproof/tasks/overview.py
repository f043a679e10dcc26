"""All amplifiers that were tested, a line a session: from the index, searched, sorted, a page at a time."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from pydantic import TypeAdapter

from wattproof.tasks.overview_lines import FORM, HIGH, WIDE, OverviewLine, overview_line

if TYPE_CHECKING:
    from wattproof.archive import Archive, Session

PER_PAGE = 50
FEW = 3
"""More sessions than these are not read while a page waits: each takes a second or two, for the fit."""


@dataclass(frozen=True, kw_only=True)
class OverviewSeen:
    """A page of the list.

    Attributes
    ----------
    lines : tuple of OverviewLine
    found, total : int
        How many fit what was asked for, and how many there are.
    loads_ohm : tuple of float, ohm
        Loads that any of those found has a power into.
    query, sort : str
        As they were understood.
    page, pages : int
        Counted from 1.
    unread : int
        Sessions that nothing is told of yet: `Overviews.read` reads them.
    problems : tuple of str
        What could not be read, and what was doubtful.
    box : tuple of int
        Width and height that small curves are drawn in.
    """

    lines: tuple[OverviewLine, ...]
    found: int
    total: int
    loads_ohm: tuple[float, ...]
    query: str
    sort: str
    page: int
    pages: int
    unread: int
    problems: tuple[str, ...]
    box: tuple[int, int] = (WIDE, HIGH)


class Overviews:
    """The list of an archive.

    Parameters
    ----------
    archive : Path
        Its folder.
    """

    def __init__(self, archive: Path) -> None:
        self._root = archive

    def read(self, tell: Callable[[str], None] | None = None) -> int:
        """Read the sessions that nothing is told of yet; gives how many lines there are."""
        return len(self._store.overview(self._say, form=FORM, tell=tell).told)

    def see(self, *, query: str = "", sort: str = "-day", page: int = 1) -> OverviewSeen:
        """Give a page of the list.

        Parameters
        ----------
        query : str
            Words that all must stand in maker, model, bench, note, loads or the session's name.
        sort : str
            "name", "day", "bench", "verdicts" or "power-4" for a load of 4 ohm; with "-" before it the other way round.
        page : int
            Counted from 1; one past the end is the last.
        """
        listing = self._store.overview(self._say, form=FORM, most=FEW)
        lines = _LINES.validate_json(f"[{','.join(listing.told.values())}]")
        words = query.casefold().split()
        found = [line for line in lines if all(word in _words(line) for word in words)]
        loads = sorted({power.load_ohm for line in found for power in line.powers}, reverse=True)
        sort = sort if sort.removeprefix("-") in {*_KEYS, *(f"power-{ohm:g}" for ohm in loads)} else "-day"
        ordered = _sorted(found, sort)
        pages = max(1, -(-len(found) // PER_PAGE))
        page = min(max(1, page), pages)
        return OverviewSeen(
            lines=tuple(ordered[(page - 1) * PER_PAGE : page * PER_PAGE]),
            found=len(found),
            total=len(lines),
            loads_ohm=tuple(loads),
            query=query,
            sort=sort,
            page=page,
            pages=pages,
            unread=listing.unread,
            problems=tuple(f"{notice.message} {notice.hint}".strip() for notice in listing.notices),
        )

    def _say(self, session: "Session") -> str:
        return overview_line(self._store, session).model_dump_json()

    @cached_property
    def _store(self) -> "Archive":
        from wattproof.archive import Archive

        return Archive(self._root)


_LINES = TypeAdapter(list[OverviewLine])

_Key = Callable[[OverviewLine], tuple[object, ...]]

_KEYS: dict[str, _Key] = {
    "name": lambda line: (line.amplifier.casefold(),),
    "day": lambda line: (line.day,),
    "bench": lambda line: (line.bench.casefold(),),
    "verdicts": lambda line: (line.verdicts.get("falls short", 0), -line.verdicts.get("meets", 0)),
}


def _words(line: OverviewLine) -> str:
    return " ".join((line.amplifier, line.bench, line.note, line.session, *line.loads)).casefold()


def _sorted(lines: list[OverviewLine], sort: str) -> list[OverviewLine]:
    """Put lines in order; those that lack what they are sorted by come last whichever way round."""
    key, down = sort.removeprefix("-"), sort.startswith("-")
    named = sorted(lines, key=lambda line: (line.amplifier.casefold(), line.day, line.session))
    if key in _KEYS:
        has = [line for line in named if key != "verdicts" or line.verdicts]
        has.sort(key=_KEYS[key], reverse=down)
    else:
        ohm = float(key.removeprefix("power-"))
        powers = {line.session: power.value for line in named if (power := line.power(ohm)) is not None}
        has = [line for line in named if line.session in powers]
        has.sort(key=lambda line: powers[line.session], reverse=down)
    there = {line.session for line in has}
    return [*has, *(line for line in named if line.session not in there)]
