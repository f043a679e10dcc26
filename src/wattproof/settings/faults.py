"""One fault of a file a person wrote, and the error that tells all of them at once."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from difflib import get_close_matches

from pydantic_core import PydanticCustomError

from wattproof.errors import SettingsError


@dataclass(frozen=True, kw_only=True, order=True)
class Fault:
    """What is wrong on a line and what would be right.

    Attributes
    ----------
    line : int >= 0
        Counted from 1; 0 where the fault is the whole file's.
    column : int >= 0
        Character (TOML) or cell (CSV) counted from 1; 0 where the line says enough.
    what : str
        What is wrong, with the value.
    cure : str
        What would be right.
    """

    line: int
    column: int = 0
    what: str
    cure: str

    @property
    def place(self) -> str:
        """``line 4, column 9``, as far as it is known."""
        words = [f"line {self.line}"] if self.line else []
        words += [f"column {self.column}"] if self.column else []
        return ", ".join(words)


def settings_error(file: str, faults: Iterable[Fault]) -> SettingsError:
    """Make one error of all faults of a file: going one by one would cost the person an evening."""
    ordered = sorted(set(faults))
    if len(ordered) == 1 and ordered[0].place:
        message = f"{file}, {ordered[0].place}: the file cannot be used as it stands."
    else:
        message = f"{file} cannot be used as it stands: {len(ordered)} fault{'s' if len(ordered) != 1 else ''}."
    return SettingsError(
        message,
        why="\n".join(_sentence(fault, fault.what) for fault in ordered),
        hint="\n".join(_sentence(fault, fault.cure) for fault in ordered if fault.cure),
    )


def custom_fault(what: str, cure: str) -> PydanticCustomError:
    """Make the error a model's own validator raises: it carries the cure with it."""
    return PydanticCustomError("wattproof", "{what}; {cure}", {"what": what, "cure": cure})


def nearest(word: str, known: Sequence[str]) -> str | None:
    """Give the known word that `word` was most likely meant to be, or None.

    Examples
    --------
    >>> nearest("resistence_ohm", ["resistance_ohm", "resistance_u_ohm"])
    'resistance_ohm'
    >>> nearest("colour", ["scale", "offset"]) is None
    True
    """
    return next(iter(get_close_matches(word.lower(), known, n=1, cutoff=0.6)), None)


def _sentence(fault: Fault, text: str) -> str:
    return f"{fault.place}: {text}" if fault.place else text
