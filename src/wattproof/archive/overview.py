"""A line a session for a list of all that was tested: told once, and kept in the index until its session changes."""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from wattproof.archive.model import OverviewListing, Session
from wattproof.archive.search import ask, ask_as_it_is
from wattproof.archive.sessions import read_session, session_folders
from wattproof.errors import Notice, WattproofError

if TYPE_CHECKING:
    from wattproof.archive.index import Index

Say = Callable[[Session], str]
Tell = Callable[[str], None] | None


def overview(root: Path, url: str | None, say: Say | None, *, form: str, tell: Tell = None) -> OverviewListing:
    """Give what is told of every session; `say` is asked only of those that are new or have changed.

    Parameters
    ----------
    root, url
        As for `ask`.
    say : callable or None
        Tells of a session, as JSON; None: nothing is read, and what was told before is given as it is.
    form : str
        Version and layout of what it tells: what was told in another form is told anew.
    tell : callable or None
        Gets a line before each session that is asked of.
    """
    if say is None:
        known, _ = ask_as_it_is(root, url, lambda index: index.overviews(form))
        return OverviewListing(told=dict(sorted(known.items())))
    told, notices = ask(root, url, lambda index: _told(root, index, say, form=form, tell=tell))
    lines, refused = told
    return OverviewListing(told=lines, notices=(*notices, *refused))


def behind(root: Path, url: str | None, *, form: str) -> int:
    """Count the sessions that something would have to be told of, without looking whether others have changed."""
    known, _notices = ask_as_it_is(root, url, lambda index: index.count_overviews(form))
    return max(0, len(session_folders(root)) - known)


def _told(root: Path, index: "Index", say: Say, *, form: str, tell: Tell) -> tuple[dict[str, str], tuple[Notice, ...]]:
    known = index.overviews(form)
    refused = []
    for name in sorted(set(index.stamps()) - set(known)):
        if tell is not None:
            tell(f"{name} ...")
        try:
            known[name] = say(read_session(root / name))
        except WattproofError as error:
            message = f"Session {name} is left out of the list: {error.message} {error.why}".strip()
            refused.append(Notice(code="session-damaged", message=message, hint=error.hint))
        else:
            index.put_overview(name, form, known[name])
    return dict(sorted(known.items())), tuple(refused)
