"""What would settle an undecided verdict: computed from this figure's own budget."""

from math import sqrt

from wattproof.judge.carrying import MODEL_LINE, RAIL_LINE, without_correction
from wattproof.judge.conformity import Sense, chance_text, guard_factor, line_needed_u, nearest_limit, wanted_u
from wattproof.judge.model import Reading, Rule, Settling
from wattproof.judge.powers import MeasuredPower
from wattproof.judge.saying import said_doubt, said_value
from wattproof.quantity import BudgetLine, Quantity

_HOW = {
    RAIL_LINE: "ramps at a second supply voltage, a volt or more away, tell it",
    MODEL_LINE: "ramps into more loads narrow it",
    "scale of": "calibrate that channel against something better",
    "offset of": "read that channel with nothing on it, and calibrate its zero",
    "resistance of": "measure that load with four wires",
    "accuracy of": "a better meter has less",
}
"""How the lines of a budget shrink, by how their labels begin."""

HOPELESS = 10.0
"""A bench that had to be so many times better is no advice."""
_WORTH = 0.05
"""A correction that makes less of the variance is not worth a step."""


def by_budget(figure: Quantity, claimed: float, sense: Sense, rule: Rule) -> list[Settling]:
    """Say which line of the budget must come down to what; or that none can, and how near the rating lies.

    The value is taken to stay what it is: a better bench may find another one.
    """
    enough_u = wanted_u(figure, claimed, sense, rule)
    if enough_u <= 0 or figure.u / enough_u > HOPELESS:
        return [_nothing(figure, claimed, sense, enough_u)]
    lines = sorted(figure.budget, key=lambda line: -line.u)
    if not lines:
        return []
    needed = line_needed_u(figure, lines[0].source, enough_u)
    if needed is not None:
        message = (
            f"{_named(lines[0], figure)}: from {said_doubt(lines[0].u, figure)} down to {said_doubt(needed, figure)} "
            f"it decides, if the value stays (u {said_doubt(figure.u, figure)}, needed {said_doubt(enough_u, figure)})."
        )
        return [_settling("budget", message, figure, source=lines[0].source, u_now=lines[0].u, u_needed=needed)]
    return [_two_lines(figure, lines, enough_u)]


def _two_lines(figure: Quantity, lines: list[BudgetLine], enough_u: float) -> Settling:
    """Say by how much the two largest lines must shrink together, or all of them."""
    pair = lines[:2]
    squares = sum(line.u**2 for line in pair)
    room = enough_u**2 - (figure.u**2 - squares)
    if len(pair) == 2 and room > 0:
        share = sqrt(room / squares)
        named = " and ".join(_named(line, figure) for line in pair)
        message = (
            f"No line of the budget suffices alone: {named}, both {1 / share:.2g} times smaller "
            f"({' and '.join(said_doubt(line.u * share, figure) for line in pair)}), decide if the value stays."
        )
        return _settling("budget", message, figure, source=pair[0].source, u_now=pair[0].u, u_needed=pair[0].u * share)
    message = (
        f"No two lines of the budget suffice: the whole u must come from {said_doubt(figure.u, figure)} down to "
        f"{said_doubt(enough_u, figure)}, {figure.u / enough_u:.2g} times smaller."
    )
    return _settling("budget", message, figure, u_now=figure.u, u_needed=enough_u)


def _nothing(figure: Quantity, claimed: float, sense: Sense, enough_u: float) -> Settling:
    limit = nearest_limit(figure, claimed, sense)
    away = figure.value - limit
    side = "above" if away > 0 else "below"
    times = "" if enough_u <= 0 else f": only a bench {figure.u / enough_u:.0f} times better could tell"
    message = (
        f"Nothing within reach: the figure lies {said_doubt(abs(away), figure)} {side} the limit of "
        f"{said_value(limit, figure)}, with u {said_doubt(figure.u, figure)}{times}."
    )
    return _settling("nothing", message, figure, u_now=figure.u, u_needed=enough_u)


def by_step(
    power: MeasuredPower,
    corrected: Quantity,
    claimed: float,
    reading: Reading,
    rule: Rule,
    *,
    share: float,
    setting: str = "",
) -> list[Settling]:
    """Say what a ramp under the rated conditions would change, where carrying makes much of the doubt."""
    if share < _WORTH:
        return []
    left_u = without_correction(corrected)
    chance = _chance_to_decide(corrected, claimed, rule, left_u=left_u)
    message = (
        f"A ramp into {reading.load_ohm:g} ohm at {reading.supply_v:g} V at the terminals{setting}, instead of "
        f"{power.load_ohm:.4g} ohm at {power.supply_v:.2f} V, needs no correction: u falls from "
        f"{said_doubt(corrected.u, corrected)} to {said_doubt(left_u, corrected)}, which decides with a probability of "
        f"{chance_text(chance)}."
    )
    return [_settling("step", message, corrected, u_now=corrected.u, u_needed=left_u)]


def _chance_to_decide(figure: Quantity, claimed: float, rule: Rule, *, left_u: float) -> float:
    """Give the probability that a figure of a smaller doubt decides, by what is known of its value today.

    Today's value is normal about `figure`; what the new one will find of it has the variance that falls away.
    """
    from scipy.special import ndtr

    moves_u = sqrt(max(figure.u**2 - left_u**2, 0.0))
    guard, away = guard_factor(figure, rule) * left_u, figure.value - claimed
    if moves_u == 0:
        return float(abs(away) >= guard)
    return float(ndtr((away - guard) / moves_u) + ndtr((-away - guard) / moves_u))


def missing_step(message: str) -> tuple[Settling, ...]:
    """Name the step that gives a figure which is not there."""
    return (Settling(kind="step", message=message),)


def _settling(
    kind: str, message: str, figure: Quantity, *, source: str | None = None, u_now: float, u_needed: float
) -> Settling:
    return Settling.model_validate(
        {"kind": kind, "message": message, "source": source, "u_now": u_now, "u_needed": u_needed, "unit": figure.unit}
    )


def _named(line: BudgetLine, figure: Quantity) -> str:
    """Name a line with its share, and where it is known how it shrinks, with that."""
    how = next((f"; {how}" for start, how in _HOW.items() if line.label.startswith(start)), "")
    return f"{line.label} ({100 * line.u**2 / figure.u**2:.0f} % of the variance{how})"
