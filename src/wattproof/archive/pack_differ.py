"""Where two documents differ: leaf by leaf, with numbers near enough to each other taken for the same."""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import isfinite
from typing import Any

RELATIVE = 1e-6
"""Two machines, or two releases of an array library, differ by some 1e-9; what a person sees has fewer digits."""

FINE = 1e-3
"""A step larger than this share of the number is no matter of rounding: such a number was meant as it stands."""

_PLAIN = re.compile(r"-?\d+\.\d+")
_NUMBER = re.compile(r"(?<![\w.])-?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?")


@dataclass(frozen=True, kw_only=True)
class Leaf:
    """One value that is not the same in both: where it stands, as it was and as it is."""

    place: str
    there: Any
    here: Any

    def words(self, there: str, here: str) -> str:
        """Say from what to what, with what either side is called."""
        return f"{self.place}: {written(self.there)} {there}, {written(self.here)} {here}"


def written(value: object) -> str:
    """Write a value for a sentence: text as it is, nothing as "none", long things cut."""
    if value is None:
        return "nothing"
    text = value if isinstance(value, str) else repr(value)
    return text if len(text) <= 120 else f"{text[:117]}..."


def leaves(there: object, here: object, *, place: str = "", relative: float = RELATIVE) -> Iterator[Leaf]:
    """Find every leaf in which two JSON values differ.

    Parameters
    ----------
    there, here : JSON values
        As published and as found again, or as told in one place and in another.
    place : str
        What the values are called.
    relative : float
        How far two numbers may be apart; 0 wants them equal.
    """
    if isinstance(there, Mapping) and isinstance(here, Mapping):
        for key in [*there, *(key for key in here if key not in there)]:
            yield from leaves(there.get(key), here.get(key), place=f"{place}.{key}".lstrip("."), relative=relative)
    elif _listed(there) and _listed(here):
        yield from _items(there, here, place, relative)
    elif not near(there, here, relative=relative):
        yield Leaf(place=place, there=there, here=here)


def _listed(value: object) -> bool:
    return isinstance(value, Sequence) and not isinstance(value, str)


def _items(there: Any, here: Any, place: str, relative: float) -> Iterator[Leaf]:  # noqa: ANN401  (any JSON list)
    if len(there) != len(here):
        yield Leaf(place=place, there=f"{len(there)} entries", here=f"{len(here)} entries")
        return
    for number, pair in enumerate(zip(there, here, strict=True)):
        yield from leaves(*pair, place=f"{place}[{number}]", relative=relative)


def near(there: object, here: object, *, relative: float = RELATIVE) -> bool:
    """Tell whether two leaves say the same: numbers within the allowance, words with such numbers in them."""
    if there == here:
        return type(there) is type(here) or (_number(there) and _number(here))
    if isinstance(there, int | float) and isinstance(here, int | float) and _number(there) and _number(here):
        largest = max(abs(there), abs(here))
        return isfinite(largest) and abs(there - here) <= relative * largest
    if isinstance(there, str) and isinstance(here, str) and relative:
        return _near_words(there, here)
    return False


def _number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _near_words(there: str, here: str) -> bool:
    if _NUMBER.sub("#", there) != _NUMBER.sub("#", here):
        return False
    return all(one_step(a, b) for a, b in zip(_NUMBER.findall(there), _NUMBER.findall(here), strict=True))


def one_step(there: str, here: str) -> bool:
    """Tell whether two written numbers are one step of their last digit apart, so that rounding explains it.

    Examples
    --------
    >>> one_step("8.0353", "8.0354"), one_step("8.0353", "8.0355"), one_step("47.0", "47.1"), one_step("1", "2")
    (True, False, False, False)
    """
    if there == here:
        return True
    if not (_PLAIN.fullmatch(there) and _PLAIN.fullmatch(here)):
        return False
    step = min(10.0 ** -len(text.partition(".")[2]) for text in (there, here))
    apart, largest = abs(float(there) - float(here)), max(abs(float(there)), abs(float(here)))
    return apart <= 1.01 * step and apart <= FINE * largest
