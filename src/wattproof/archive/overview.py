"""A line a session for a list of all that was tested: told once, and kept in the index until its session changes."""

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from wattproof.archive.model import OverviewListing, Session
from wattproof.archive.search import BehindError, ask, ask_as_it_is
from wattproof.archive.sessions import read_session
from wattproof.errors import Notice, WattproofError

if TYPE_CHECKING:
    from wattproof.archive.index import Index

Say = Callable[[Session], str]
Tell = Callable[[str], None] | None

_REFUSED = "!"
"""Begins what is kept of a session that cannot be told of; JSON begins otherwise."""


def overview(
    root: Path, url: str | None, say: Say, *, form: str, most: int | None = None, tell: Tell = None
) -> OverviewListing:
    """Give what is told of every session; `say` is asked only of those that are new or have changed.

    Parameters
    ----------
    root, url
        As for `ask`.
    say : callable
        Tells of a session, as JSON.
    form : str
        Version and layout of what it tells: what was told in another form is told anew.
    most : int or None
        Where more sessions would have to be read, none is: what was told before is given as it is.
    tell : callable or None
        Gets a line before each session that is asked of.
    """
    try:
        told, notices = ask(
            root, url, lambda index: _told(root, index, say, form=form, most=most, tell=tell), most=most
        )
    except BehindError as behind:
        known, _ = ask_as_it_is(root, url, lambda index: index.overviews(form))
        return _listing(known, unread=behind.sessions)
    return _listing(told, notices=notices)


def _told(root: Path, index: "Index", say: Say, *, form: str, most: int | None, tell: Tell) -> dict[str, str]:
    known = index.overviews(form)
    missing = sorted(set(index.stamps()) - set(known))
    if most is not None and len(missing) > most:
        raise BehindError(len(missing))
    for name in missing:
        if tell is not None:
            tell(f"{name} ...")
        known[name] = _said(root / name, say)
        index.put_overview(name, form, known[name])
    return known


def _said(folder: Path, say: Say) -> str:
    """Have a session told of; why that cannot be is kept too, until the session changes."""
    try:
        return say(read_session(folder))
    except WattproofError as error:
        message = f"Session {folder.name} is left out of the list: {error.message} {error.why}".strip()
        return f"{_REFUSED}{message}\n{error.hint}"


def _listing(known: Mapping[str, str], *, notices: Sequence[Notice] = (), unread: int = 0) -> OverviewListing:
    refused = [text.removeprefix(_REFUSED).partition("\n") for text in known.values() if text.startswith(_REFUSED)]
    return OverviewListing(
        told={name: text for name, text in sorted(known.items()) if not text.startswith(_REFUSED)},
        unread=unread,
        notices=(
            *notices,
            *(Notice(code="session-damaged", message=message, hint=hint) for message, _, hint in refused),
        ),
    )
