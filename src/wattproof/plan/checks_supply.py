"""Whether the supply, its limits and the amplifier's fuse bear what is expected."""

from collections.abc import Iterator, Sequence

from wattproof.plan.costs import Setting, StepCosts
from wattproof.plan.model import Check

PULSE_BELOW_HZ = 200.0
"""Below this the stores inside an amplifier hardly smooth the current, which runs at twice the tone."""

PULSE_PEAK = 2.0
SAME_SUPPLY_V = 0.15


def supply_checks(driven: Sequence[StepCosts], setting: Setting) -> Iterator[Check]:
    """Look at the supply's current against what it gives, the guard's limit and the fuse, and at its voltage."""
    yield from _voltage(setting)
    if not driven:
        return
    worst = max(driven, key=lambda costs: (costs.limit_current_a, costs.step.kind == "ramp"))
    ramps = [costs.expected.supply_current_a for costs in driven if costs.step.kind == "ramp"]
    end_a = max([worst.limit_current_a, *ramps])
    bench = setting.bench
    if bench.supply.max_current_a is None:
        yield Check(
            code="supply-current", state="doubtful", step=worst.step.number, numbers={"mean_a": worst.limit_current_a},
            message=f"{worst.step.name} draws about {worst.limit_current_a:.3g} A; the supply states no limit.",
            hint="Write max_current_a under [supply] in the bench file.",
        )  # fmt: skip
    else:
        yield _current(
            worst, end_a, bench.supply.max_current_a, code="supply-current", whose="the supply gives", pulses=True
        )
    if bench.limits.supply_current_a is not None:
        limit_a = bench.limits.supply_current_a
        yield _current(worst, end_a, limit_a, code="supply-limit", whose="the guard stops it at", pulses=False)
    yield from _fuse(worst, setting)


def _current(costs: StepCosts, end_a: float, limit_a: float, *, code: str, whose: str, pulses: bool) -> Check:
    mean_a = costs.limit_current_a
    # the guard judges the mean over half a cycle; a supply's own limit knows no such patience
    pulsing = pulses and (costs.step.tone_hz or 0.0) < PULSE_BELOW_HZ
    peak_a = mean_a * (PULSE_PEAK if pulsing else 1.0)
    numbers = {"mean_a": mean_a, "ramp_end_a": end_a, "peak_a": max(peak_a, end_a), "limit_a": limit_a}
    start = f"{costs.step.name} draws about {mean_a:.3g} A"
    if mean_a > limit_a:
        message = f"{start}; {whose} {limit_a:g} A."
        cure = "use a larger supply" if pulses else "raise supply_current_a if the bench bears it"
        hint = f"Measure higher loads only (--loads), drive one output after the other (--driven each), or {cure}."
        state = "refused"
    elif max(peak_a, end_a) > limit_a:
        more = f" and {peak_a:.3g} A in pulses at twice the tone" if peak_a > end_a else ""
        message = f"{start}, {end_a:.3g} A at the ramp's end{more}; {whose} {limit_a:g} A."
        hint, state = (
            "Put a capacitor bank or battery beside the supply, or raise the limit if the supply bears it.",
            "doubtful",
        )
    else:
        message = f"{start}, {max(peak_a, end_a):.3g} A at the most; {whose} {limit_a:g} A."
        hint, state = "", "good"
    return Check(code=code, state=state, message=message, hint=hint, step=costs.step.number, numbers=numbers)


def _fuse(costs: StepCosts, setting: Setting) -> Iterator[Check]:
    fuse_a, mean_a = setting.amplifier.fuse_a, costs.limit_current_a
    if fuse_a is None:
        return
    numbers = {"mean_a": mean_a, "fuse_a": fuse_a}
    over = mean_a > fuse_a
    yield Check(
        code="fuse",
        state="doubtful" if over else "good",
        message=f"{costs.step.name} draws about {mean_a:.3g} A through the amplifier's fuse of {fuse_a:g} A."
        + (" It may open in a hold." if over else ""),
        hint="A fuse carries more than its rating for seconds. Have spares, and keep holds short." if over else "",
        step=costs.step.number,
        numbers=numbers,
    )


def _voltage(setting: Setting) -> Iterator[Check]:
    bench, supply_v = setting.bench, setting.supply_v
    low_high = bench.limits.supply_voltage_v
    if low_high is not None and not low_high[0] < supply_v < low_high[1]:
        yield Check(
            code="supply-voltage", state="refused",
            numbers={"supply_v": supply_v, "lowest_v": low_high[0], "highest_v": low_high[1]},
            message=f"The sheet is for {supply_v:g} V; the guard allows {low_high[0]:g} to {low_high[1]:g} V.",
            hint="Set another voltage with --supply-v, or correct supply_voltage_v under [limits].",
        )  # fmt: skip
    nominal_v = bench.supply.nominal_v
    if nominal_v is None:
        yield Check(
            code="supply-setting", state="doubtful", numbers={"supply_v": supply_v},
            message=f"The sheet is for {supply_v:g} V ; the bench file states no nominal_v.",
            hint=f"Set the supply to {supply_v:g} V, and write nominal_v under [supply].",
        )  # fmt: skip
    elif abs(nominal_v - supply_v) > SAME_SUPPLY_V:
        yield Check(
            code="supply-setting", state="doubtful", numbers={"supply_v": supply_v, "nominal_v": nominal_v},
            message=f"The ratings are for {supply_v:g} V; the bench's supply stands at {nominal_v:g} V.",
            hint=f"Set it to {supply_v:g} V, or plan for what it gives: --supply-v {nominal_v:g}",
        )  # fmt: skip
    else:
        yield Check(
            code="supply-setting", state="good", numbers={"supply_v": supply_v, "nominal_v": nominal_v},
            message=f"The sheet is for {supply_v:g} V, which the bench's supply gives.",
        )  # fmt: skip
