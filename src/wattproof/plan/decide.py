"""Whether this bench can judge what the maker states: its uncertainty at every rating, before anything is measured."""

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import hypot, log, sqrt

from wattproof.amplifier import Rating, power_ratings, power_words
from wattproof.bench import Bench, BenchChannel, Load, Role
from wattproof.plan.costs import Setting
from wattproof.plan.model import Decidable, Step
from wattproof.plan.powers import matches, reach_of

K95 = 1.959964
"""From u to a 95 % interval: calibrations are taken as known (infinitely many degrees of freedom)."""

DB_PER_RATIO = 20 / log(10)

_NEEDED = {"load_ohm": "load", "supply_v": "supply voltage", "thd_percent": "distortion"}
_REFERENCE = re.compile(r"^(?!.*not stated).*(\bre\b|\breference|\bover\b)")
"""A note that says over what a ratio in dB is reckoned."""

_NOT_ON_THE_SHEET = "No step of this sheet measures it."


@dataclass(frozen=True, kw_only=True)
class Budget:
    """What a bench would know of a rating.

    Attributes
    ----------
    relative_u : float or None, 1
        Relative standard uncertainty; None where it cannot be told beforehand.
    lacking : tuple of str
        Why it cannot be judged; empty where it can.
    note : str
        What else bears on it.
    """

    relative_u: float | None
    lacking: tuple[str, ...] = ()
    note: str = ""


def decidable_ratings(steps: Sequence[Step], setting: Setting) -> tuple[Decidable, ...]:
    """Tell for every rating whether this bench can judge it.

    Parameters
    ----------
    steps : sequence of Step
    setting : Setting

    Returns
    -------
    tuple of Decidable
        In the order of the ratings.
    """
    return tuple(_decidable(rating, steps, setting) for rating in setting.amplifier.ratings)


def _decidable(rating: Rating, steps: Sequence[Step], setting: Setting) -> Decidable:
    budget = _BUDGETS.get(rating.quantity, _unmeasured)(rating, steps, setting)
    words = rating_words(rating)
    relative = budget.relative_u
    return Decidable(
        rating=words,
        value=rating.value,
        unit=rating.unit,
        u=None if relative is None else _in_its_unit(rating, relative),
        interval95=None if relative is None else K95 * relative,
        decides=not budget.lacking,
        message=" ".join(_sentences(rating, budget)),
    )


def rating_words(rating: Rating) -> str:
    """Write a rating with the conditions stated beside it: ``520 W into 2 ohm, 14.4 V, 1 %``."""
    first = (
        power_words(rating)
        if rating.quantity == "power"
        else f"{rating.quantity.replace('_', ' ')} {rating.value:g} {rating.unit}"
    )
    if rating.quantity != "power" and rating.load_ohm is not None:
        first += f" into {rating.load_ohm:g} ohm"
    stated = [
        (rating.supply_v, "{:g} V"),
        (rating.thd_percent, "{:g} % distortion"),
        (rating.frequency_hz, "{:g} Hz"),
        (rating.channels_driven, "{:g} driven"),
    ]
    return ", ".join([first, *(text.format(value) for value, text in stated if value is not None)])


def _in_its_unit(rating: Rating, relative_u: float) -> float:
    return DB_PER_RATIO * relative_u if rating.unit.startswith("dB") else abs(rating.value) * relative_u


def _sentences(rating: Rating, budget: Budget) -> Iterator[str]:
    name = power_words(rating) if rating.quantity == "power" else f"{rating.value:g} {rating.unit}"
    if budget.relative_u is not None:
        half = K95 * budget.relative_u
        shown = f"±{100 * half:.2g} %"
        if rating.unit.startswith("dB"):
            shown = f"±{DB_PER_RATIO * half:.2g} dB"
        elif rating.unit == "%":
            shown = f"±{rating.value * half:.2g} percentage points"
        yield (
            f"At {name} this bench's 95 % interval is {shown}: a rating met or missed by less than that cannot be told."
        )
    yield from budget.lacking
    if budget.note:
        yield budget.note


def _power(rating: Rating, steps: Sequence[Step], setting: Setting) -> Budget:
    """Budget the power v·i, or V²/R without a current channel, at the rated power."""
    bench = setting.bench
    load = next((load for load in bench.loads if matches(rating, load)), None)
    lacking = list(_left_out(rating))
    if rating not in power_ratings(setting.amplifier, bridged=setting.bridged):
        lacking.append("It is for outputs wired otherwise: make a sheet with --bridged." if rating.bridged
                       else "It is for outputs that are not bridged: make a sheet without --bridged.")  # fmt: skip
    if rating.load_ohm is not None:
        driven = [step for step in steps if step.load == (load.name if load else None) and step.kind == "ramp"]
        lacking += [] if driven else [f"No step of this sheet drives {rating.load_ohm:g} ohm."]
    parts, missing = _power_parts(bench, load, _first_output(steps, setting))
    lacking += missing
    if load is not None and not missing:
        lacking += _out_of_reach(bench, _first_output(steps, setting), rating, load)
    follows = setting.amplifier.supply != "regulated" and rating.supply_v is not None
    supply = bench.channel_for("supply_voltage")
    note = ""
    if follows and supply is not None and supply.scale_u > 0:
        half = 2 * K95 * hypot(supply.scale_u, supply.offset_u / setting.supply_v)
        note = f"Where power follows the square of the supply voltage, its reading adds ±{100 * half:.2g} %."
    relative_u = None if rating.load_ohm is None else _root_sum_square(parts)
    return Budget(relative_u=relative_u, lacking=tuple(lacking), note=note if relative_u is not None else "")


def _first_output(steps: Sequence[Step], setting: Setting) -> str:
    return next((step.outputs[0] for step in steps if step.outputs), setting.amplifier.outputs[0])


def _left_out(rating: Rating) -> Iterator[str]:
    missing = [words for key, words in _NEEDED.items() if getattr(rating, key) is None]
    if missing:
        listed = " and ".join(", ".join(missing).rsplit(", ", 1))
        yield f"The rating leaves out {listed}: what it promises is not known."


def _power_parts(bench: Bench, load: Load | None, output: str) -> tuple[list[float], list[str]]:
    """Give the relative contributions to a power, and what is missing for one.

    The scales of volts and amperes are independent; in V²/R the voltage's counts twice, fully correlated with itself.
    Offsets are direct voltages and currents, which the measuring band leaves out.
    """
    volts, amps = bench.channel_for("load_voltage", output), bench.channel_for("load_current", output)
    if volts is None:
        return [], ["The load voltage is not recorded."]
    if amps is not None:
        return _known([volts, amps], [volts.scale_u, amps.scale_u])
    if load is None:
        return [], []
    rise = abs(load.tempco_per_k) * (load.rise_k or 0.0) / sqrt(3)
    return _known([volts], [2 * volts.scale_u, load.resistance_u_ohm / load.resistance_ohm, rise])


def _known(channels: Sequence[BenchChannel], parts: list[float]) -> tuple[list[float], list[str]]:
    unsure = [channel.role.replace("_", " ") for channel in channels if channel.scale_u == 0]
    if not unsure:
        return parts, []
    return [], [f"The bench file states no uncertainty for {' and '.join(unsure)}."]


def _root_sum_square(parts: Sequence[float]) -> float | None:
    return sqrt(sum(part**2 for part in parts)) if parts else None


def _out_of_reach(bench: Bench, output: str, rating: Rating, load: Load) -> Iterator[str]:
    peak_v = sqrt(2 * rating.value_si * load.resistance_ohm)
    roles: tuple[tuple[Role, float, str], ...] = (
        ("load_voltage", peak_v, "V"),
        ("load_current", peak_v / load.resistance_ohm, "A"),
    )
    for role, peak, unit in roles:
        channel = bench.channel_for(role, output)
        reach = None if channel is None else reach_of(channel)
        if reach is not None and peak > reach:
            yield f"It peaks at {peak:.3g} {unit}, and the {role.replace('_', ' ')} reaches {reach:.3g} {unit}."


def _efficiency(rating: Rating, steps: Sequence[Step], setting: Setting) -> Budget:
    bench, output = setting.bench, _first_output(steps, setting)
    parts, missing = _power_parts(bench, _lowest_load(steps, bench), output)
    for role in ("supply_voltage", "supply_current"):
        if bench.channel_for(role) is None:
            missing.append(f"The {role.replace('_', ' ')} is not recorded.")
    if missing:
        return Budget(relative_u=None, lacking=tuple(missing))
    supply_a = max((step.expected.supply_current_a for step in steps), default=0.0)
    parts += [_direct_u(bench, "supply_voltage", setting.supply_v), _direct_u(bench, "supply_current", supply_a)]
    lacking = () if rating.load_ohm is not None else ("At which power and into which load is not stated.",)
    return Budget(relative_u=_root_sum_square(parts), lacking=lacking)


def _lowest_load(steps: Sequence[Step], bench: Bench) -> Load | None:
    names = [step.load for step in steps if step.load is not None]
    return bench.load(names[-1]) if names else None


def _direct_u(bench: Bench, role: Role, reading: float) -> float:
    """Relative standard uncertainty of a direct voltage or current: its scale's and its offset's."""
    channel = bench.channel_for(role)
    if channel is None or reading <= 0:
        return 0.0
    read = abs(reading - channel.offset)
    return hypot(channel.scale_u * read, channel.offset_u) / reading


def _gain(_: Rating, steps: Sequence[Step], setting: Setting) -> Budget:
    output = _first_output(steps, setting)
    channels = [setting.bench.channel_for(role, output) for role in ("load_voltage", "drive_voltage")]
    present = [channel for channel in channels if channel is not None]
    if len(present) < 2:
        return Budget(relative_u=None, lacking=("It needs both the load voltage and the drive voltage recorded.",))
    parts, missing = _known(present, [channel.scale_u for channel in present])
    return Budget(relative_u=_root_sum_square(parts), lacking=tuple(missing))


def _direct_current(rating: Rating, _: Sequence[Step], setting: Setting) -> Budget:
    if setting.bench.channel_for("supply_current") is None:
        return Budget(relative_u=None, lacking=("The supply current is not recorded.",))
    relative = _direct_u(setting.bench, "supply_current", rating.value_si)
    if relative == 0:
        return Budget(relative_u=None, lacking=("The bench file states no uncertainty for the supply current.",))
    return Budget(relative_u=relative)


def _by_the_floor(rating: Rating, steps: Sequence[Step], setting: Setting) -> Budget:
    """Answer for distortion and noise: scales cancel or hardly count, and the recorder's own floor is what limits."""
    if setting.bench.channel_for("load_voltage", _first_output(steps, setting)) is None:
        return Budget(relative_u=None, lacking=("The load voltage is not recorded.",))
    lacking = _lacks_reference(rating)
    note = "The recorder's own noise and distortion decide how low it can be read: the first step shows them."
    return Budget(relative_u=None, lacking=lacking, note=note)


def _lacks_reference(rating: Rating) -> tuple[str, ...]:
    if rating.quantity == "snr":
        return (
            ()
            if _REFERENCE.search((rating.note or "").lower())
            else ("Over which power it is reckoned is not stated.",)
        )
    if rating.quantity == "thd" and rating.load_ohm is None:
        return ("Into which load and at which power is not stated.",)
    return ()


def _unmeasured(_: Rating, __: Sequence[Step], ___: Setting) -> Budget:
    return Budget(relative_u=None, lacking=(_NOT_ON_THE_SHEET,))


_BUDGETS: Mapping[str, Callable[[Rating, Sequence[Step], Setting], Budget]] = {
    "power": _power,
    "efficiency": _efficiency,
    "gain": _gain,
    "idle_current": _direct_current,
    "thd": _by_the_floor,
    "snr": _by_the_floor,
    "noise": _by_the_floor,
}
