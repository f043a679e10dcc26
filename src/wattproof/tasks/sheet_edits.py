"""A run sheet's file read, and changed as a person asked; what is not sensible is refused."""

from collections.abc import Mapping, Sequence
from math import isfinite
from typing import TYPE_CHECKING, Any

from wattproof.errors import SettingsError
from wattproof.plan import RunSheet, Step

if TYPE_CHECKING:
    from wattproof.archive import Paper

LONGEST_S = 3600.0
_SAME = 5e-4
"""A number that was shown with four figures and came back unchanged differs from what it was by less."""


def sheet_of(paper: "Paper") -> RunSheet:
    """Read a sheet that was kept.

    Raises
    ------
    SettingsError
        It is no run sheet.
    """
    from pydantic import ValidationError

    try:
        return RunSheet.model_validate_json(paper.text)
    except ValidationError as error:
        first = error.errors()[0]
        raise SettingsError(
            f"{paper.name} is no run sheet.",
            why=f"{'.'.join(str(part) for part in first['loc']) or 'the file'}: {first['msg']}",
            hint="Take its last change back, or plan a new sheet.",
        ) from error


def edited(
    sheet: RunSheet, *, order: Sequence[int], seconds: Mapping[int, float], level_v_rms: Mapping[int, float]
) -> RunSheet:
    """Give a sheet of the steps in `order`, with their lengths and levels changed; nothing is reckoned anew.

    Parameters
    ----------
    sheet : RunSheet
    order : sequence of int
        Numbers of the steps that stay.
    seconds : mapping of int to float, s
        By a step's number before.
    level_v_rms : mapping of int to float, V
        By a step's number before; of steps that play a level of their own.

    Raises
    ------
    SettingsError
        A number is none that a step can have, a step is named that there is not, or none is left.
    """
    known = {step.number for step in sheet.steps}
    if not order or set(order) - known or len(set(order)) < len(order):
        raise SettingsError(
            "A run sheet needs its steps, each once.",
            why=f"asked for {', '.join(map(str, order)) or 'none'}; there are {', '.join(map(str, sorted(known)))}",
            hint="Leave at least one step on the sheet.",
        )
    steps = [
        _changed(sheet.step(number), seconds.get(number), level_v_rms.get(number)).model_copy(update={"number": place})
        for place, number in enumerate(order, start=1)
    ]
    return sheet.model_copy(update={"steps": tuple(steps)})


def _changed(step: Step, seconds: float | None, level_v_rms: float | None) -> Step:
    update: dict[str, Any] = {}
    if seconds is not None and not _same(seconds, step.seconds):
        if not (isfinite(seconds) and 0 < seconds <= LONGEST_S):
            raise _senseless(step, f"{seconds:g} s is no length of a step", f"Write seconds, {LONGEST_S:g} at most.")
        update["seconds"] = seconds
    if level_v_rms is not None and step.to_v_rms is not None and not _same(level_v_rms, step.to_v_rms):
        if not (isfinite(level_v_rms) and level_v_rms > 0):
            raise _senseless(step, f"{level_v_rms:g} V is no level", "Write volts r.m.s. above 0.")
        update["to_v_rms"] = level_v_rms
        if step.kind == "gain":
            update["from_v_rms"] = level_v_rms
    return step.model_copy(update=update)


def _same(one: float, other: float) -> bool:
    return isfinite(one) and abs(one - other) <= _SAME * abs(other)


def _senseless(step: Step, why: str, hint: str) -> SettingsError:
    return SettingsError(f"Step {step.number}, {step.name}, cannot be so.", why=why, hint=hint)
