"""Checks put together: what a part said, or the error it gave, and the worst of what is inside."""

from collections.abc import Callable
from dataclasses import replace
from typing import Literal

from wattproof.capture.contract import PartCheck
from wattproof.errors import WattproofError

_ORDER = ("good", "doubtful", "failed")


def part_check(part: str, ask: Callable[[], str]) -> PartCheck:
    """Ask a part and tell what it said; an error of ours becomes a failed check."""
    try:
        return PartCheck(part=part, state="good", said=ask())
    except WattproofError as error:
        return failed_check(part, error)


def failed_check(part: str, error: WattproofError) -> PartCheck:
    """Tell an error as a check."""
    return PartCheck(part=part, state="failed", said=error.message, why=error.why, hint=error.hint)


def settled(check: PartCheck) -> PartCheck:
    """Give a check the worst state of what is inside it."""
    inside = tuple(settled(one) for one in check.inside)
    return replace(check, state=worst(check.state, *(one.state for one in inside)), inside=inside)


def worst(*states: Literal["good", "doubtful", "failed"]) -> Literal["good", "doubtful", "failed"]:
    """Give the worst of several states."""
    return max(states, key=_ORDER.index, default="good")
