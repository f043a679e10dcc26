"""All that is looked at before anything moves: supply, fuse, loads, recorder, generator, tone, limits, claims."""

from collections import Counter
from collections.abc import Iterator, Sequence
from datetime import date

from wattproof.amplifier import Amplifier
from wattproof.bench import Bench
from wattproof.plan.checks_channels import channel_checks
from wattproof.plan.checks_claims import claim_checks
from wattproof.plan.checks_loads import load_checks
from wattproof.plan.checks_rig import rig_checks
from wattproof.plan.checks_supply import supply_checks
from wattproof.plan.costs import Setting, StepCosts
from wattproof.plan.model import Check, Step
from wattproof.plan.tones import CLEAR_HZ, amplifier_band, mains_distance


def checks_of(steps: Sequence[Step], setting: Setting, *, day: date | None) -> tuple[Check, ...]:
    """Look at a bench day before anything moves.

    Parameters
    ----------
    steps : sequence of Step
        With rests.
    setting : Setting
    day : date or None
        For calibrations that run out; None: not looked at.

    Returns
    -------
    tuple of Check
        Refused ones first, then doubtful ones, then good ones.
    """
    driven = tuple(setting.reckoned(step) for step in steps if step.load is not None)
    found = [
        *supply_checks(driven, setting),
        *claim_checks(setting),
        *load_checks(steps, driven, setting),
        *channel_checks(driven, setting),
        *rig_checks(driven, setting),
        *_tone_checks(driven, setting.amplifier),
        *_limit_checks(driven, setting.bench),
        *_order_checks(steps),
        *_calibration_checks(setting.bench, day),
    ]
    order = ("refused", "doubtful", "good")
    return tuple(sorted(found, key=lambda check: order.index(check.state)))


def _tone_checks(driven: Sequence[StepCosts], amplifier: Amplifier) -> Iterator[Check]:
    band = amplifier_band(amplifier)
    seen: dict[float, int] = {}
    for costs in driven:
        seen.setdefault(costs.step.tone_hz or 0.0, costs.step.number)
    for tone_hz, number in seen.items():
        away_hz = mains_distance(tone_hz)
        numbers = {"tone_hz": tone_hz, "from_mains_hz": away_hz}
        if band is not None and not band[0] <= tone_hz <= band[1]:
            yield Check(
                code="tone-band", state="doubtful", step=number, numbers=numbers,
                message=f"{tone_hz:g} Hz lies outside the band that the maker states, {band[0]:g} to {band[1]:g} Hz.",
                hint="Choose a tone inside it with --tone-hz, or leave it to be chosen.",
            )  # fmt: skip
        yield _mains_check(tone_hz, number, numbers)
    if band is None and driven:
        yield Check(
            code="tone-band", state="doubtful", numbers={"tone_hz": driven[0].step.tone_hz or 0.0},
            message=f"The amplifier file states no band; {driven[0].step.tone_hz:g} Hz is taken to lie in it.",
            hint="Add ratings frequency_low and frequency_high where the maker states them, and keep filters off.",
        )  # fmt: skip


def _mains_check(tone_hz: float, number: int, numbers: dict[str, float]) -> Check:
    if numbers["from_mains_hz"] >= CLEAR_HZ:
        message = (
            f"{tone_hz:g} Hz and its harmonics keep {numbers['from_mains_hz']:.3g} Hz or more from mains multiples."
        )
        return Check(code="tone-mains", state="good", step=number, numbers=numbers, message=message)
    return Check(
        code="tone-mains", state="doubtful", step=number, numbers=numbers,
        message=f"{tone_hz:g} Hz or one of its first harmonics lies {numbers['from_mains_hz']:.3g} Hz from a multiple "
        "of 50 or 60 Hz: hum would be counted as signal or distortion.",
        hint="It is what the 1 kHz burst is defined with; for all else choose 47 or 997 Hz.",
    )  # fmt: skip


def _limit_checks(driven: Sequence[StepCosts], bench: Bench) -> Iterator[Check]:
    wanted = ("load_voltage_v", "load_dc_v", "supply_current_a", "supply_voltage_v", "temperature_c", "full_power_s")
    missing = [name for name in wanted if getattr(bench.limits, name) is None]
    if missing:
        yield Check(
            code="limits-missing", state="doubtful", numbers={"missing": float(len(missing))},
            message=f"The bench file sets no {', no '.join(missing)}: nothing stops the drive there but what the sheet "
            "itself expects.",
            hint="Write them under [limits] in the bench file.",
        )  # fmt: skip
    else:
        yield Check(code="limits-missing", state="good", message="Every limit of the bench is set.")
    for costs in driven:
        most_s, need_s = costs.step.limits.full_power_s, costs.expected.full_power_s
        if most_s is not None and need_s > most_s:
            yield Check(
                code="full-power-time", state="refused", step=costs.step.number,
                numbers={"need_s": need_s, "limit_s": most_s},
                message=f"{costs.step.name} needs {need_s:.3g} s at full power; the guard allows {most_s:.3g} s.",
                hint="Raise full_power_s under [limits] in the bench file, or shorten the step.",
            )  # fmt: skip


def _order_checks(steps: Sequence[Step]) -> Iterator[Check]:
    ramps: set[str] = set()
    taken = Counter(step.name for step in steps)
    for place, step in enumerate(steps, start=1):
        if step.number != place:
            yield Check(
                code="step-number", state="refused", step=step.number,
                message=f"Step {step.number}, {step.name}, stands at place {place}.",
                hint="Number the steps from 1 in the order in which they are to be done.",
            )  # fmt: skip
        if taken[step.name] > 1:
            yield Check(
                code="step-name", state="refused", step=step.number,
                message=f"{taken[step.name]} steps are named {step.name}.",
                hint="Give every step a name of its own: captures go by it.",
            )  # fmt: skip
        if step.level_from is not None and step.level_from not in ramps:
            yield Check(
                code="level-from", state="refused", step=step.number,
                message=f"{step.name} plays at the level that {step.level_from} finds, which does not come before it.",
                hint=f"Put {step.level_from} before it, or take {step.name} out.",
            )  # fmt: skip
        ramps |= {step.name} if step.kind == "ramp" else set()


def _calibration_checks(bench: Bench, day: date | None) -> Iterator[Check]:
    overdue = bench.overdue(day) if day is not None else ()
    for notice in overdue:
        yield Check(
            code=notice.code, state="doubtful", message=notice.message, hint=notice.hint, numbers=dict(notice.numbers)
        )
    unsure = [f"{c.role} {c.output}" if c.role.startswith("load") else c.role for c in bench.channels if not c.scale_u]
    if unsure:
        yield Check(
            code="uncertainty-missing", state="doubtful", numbers={"channels": float(len(unsure))},
            message=f"There is no scale_u for {', '.join(unsure)}: the intervals of this sheet leave it out.",
            hint="Calibrate them (wattproof bench calibrate) or take the maker's accuracy, and write scale_u.",
        )  # fmt: skip
    elif bench.channels and not overdue and day is not None:
        yield Check(code="calibration", state="good", message="Every channel's uncertainty is stated and in date.")
