"""What a person types of each file on the page of Import, and what it says to the tasks."""

from collections.abc import Mapping
from typing import Any, get_args

from starlette.datastructures import FormData

from wattproof.errors import SettingsError
from wattproof.tasks import FileAnswers, FileSaid, GivenFile, RecordKind, Wishes

ASKED: Mapping[str, tuple[str, str]] = {
    "rate_hz": ("Samples a second", "where the file gives no clock"),
    "time_column": ("Column of the time", "its number or name; 0: there is none"),
    "time_unit": ("Unit of the time", "s, ms, us, ns or ps"),
    "unit": ("Units of channels", "CHANNEL=UNIT, several with semicolons between: CH2=mV; 3=A"),
    "delimiter": ("Between cells", "a comma, a semicolon, or the word tab"),
    "decimal": ("Decimal mark", ". or ,"),
    "dataset": ("Which array", "its name, in a file of several"),
}
"""What a file may leave open: a label and a hint for each field."""


def said_of(given: GivenFile, said: FormData | Mapping[str, Any]) -> FileSaid:
    """Read what was typed of a file.

    Raises
    ------
    SettingsError
        A number is none, or a choice is not among those there are.
    """

    def text(name: str) -> str:
        value = said.get(f"{given.key}-{name}", "")
        return value.strip() if isinstance(value, str) else ""

    decimal = text("decimal")
    answers = FileAnswers(
        rate_hz=_number(text("rate_hz"), "Samples a second"),
        time_unit=text("time_unit") or None,
        time_column=text("time_column") or None,
        unit=tuple(one.strip() for one in text("unit").split(";") if one.strip()),
        delimiter=text("delimiter") or None,
        decimal="." if decimal == "." else "," if decimal == "," else None,
        dataset=text("dataset") or None,
    )
    kind: RecordKind | None = next((one for one in get_args(RecordKind) if one == text("kind")), None)
    wishes = Wishes(
        kind=kind,
        load=text("load") or None,
        channel=tuple(_channels(given, said)),
        volts_per_unit=_number(text("volts_per_unit"), "Volts for 1 in the file"),
        tone_hz=_number(text("tone_hz"), "Test tone"),
    )
    return FileSaid(wishes=wishes, answers=answers, step=text("step"))


def _channels(given: GivenFile, said: FormData | Mapping[str, Any]) -> list[str]:
    """Write the roles that were chosen as the task takes them: ROLE:OUTPUT=INPUT."""
    found = []
    for name in said:
        head, _, number = str(name).rpartition("-")
        if head == f"{given.key}-role" and number.isdecimal() and said[name]:
            output = str(said.get(f"{given.key}-output-{number}", "")).strip()
            role = str(said[name])
            where = f":{output}" if output and role.startswith("load_") else ""
            found.append(f"{role}{where}={number}")
    return found


def _number(text: str, called: str) -> float | None:
    if not text:
        return None
    try:
        return float(text.replace(",", "."))
    except ValueError as error:
        raise SettingsError(
            f'{called}: "{text[:40]}" is no number.',
            why="it takes a number, with a point before its decimals, and no unit",
            hint="Correct it, or leave the field empty.",
        ) from error
