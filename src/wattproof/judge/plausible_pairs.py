"""Power ratings against each other: load, distortion, supply voltage, outputs driven, bridging."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from math import sqrt

from wattproof.amplifier import clean_power, clipped_share, is_loud
from wattproof.judge.plausible_model import ROUNDING, Claim, Finding, Strength, rating_words, said

_CONDITIONS = ("load_ohm", "supply_v", "thd_percent", "channels_driven")


@dataclass(frozen=True, kw_only=True)
class _Pair:
    """Two ratings that differ in one condition.

    Attributes
    ----------
    low, high : Claim
        In the order of the condition that differs.
    certain : bool
        The other conditions are stated by both and equal; else one of them leaves some open.
    """

    low: Claim
    high: Claim
    certain: bool

    @property
    def about(self) -> tuple[int, int]:
        return self.low.number, self.high.number

    @property
    def broken(self) -> Strength:
        """What it means when a bound is passed: certain only where nothing is left open."""
        return "contradiction" if self.certain else "doubtful"

    @property
    def hint(self) -> str:
        if self.certain:
            return (
                "One of the two is wrong or was taken otherwise than stated, as with a switch for low loads: "
                "measure both on one day."
            )
        return (
            "Their conditions differ or are not all stated: ask for them, or measure both on one day in the same way."
        )


def pair_findings(claims: Sequence[Claim]) -> Iterator[Finding]:
    """Look at every two ratings that differ in one condition, but for those that promise most and state nothing."""
    plain = [claim for claim in claims if not is_loud(claim.rating)]
    for first, second in combinations(plain, 2):
        if bool(first.rating.bridged) is not bool(second.rating.bridged):
            single, bridged = (second, first) if first.rating.bridged else (first, second)
            yield from _bridged(single, bridged)
        else:
            yield from _same_wiring(first, second)


def _same_wiring(first: Claim, second: Claim) -> Iterator[Finding]:
    differing = [name for name in _CONDITIONS if _differs(first, second, name)]
    if not differing and _settled(first, second, "load_ohm"):
        yield from _twice(first, second)
    if differing == ["load_ohm"] or (differing == ["load_ohm", "thd_percent"]):
        yield _loads(_pair(first, second, "load_ohm", certain=len(differing) == 1))
    if differing == ["thd_percent"] and _settled(first, second, "load_ohm"):
        yield _distortion(_pair(first, second, "thd_percent"))
    if differing == ["supply_v"] and _settled(first, second, "load_ohm"):
        yield _supplies(_pair(first, second, "supply_v"))
    if differing == ["channels_driven"] and _settled(first, second, "load_ohm"):
        yield _channels(_pair(first, second, "channels_driven"))


def _differs(first: Claim, second: Claim, name: str) -> bool:
    one, other = getattr(first.rating, name), getattr(second.rating, name)
    return one is not None and other is not None and one != other


def _settled(first: Claim, second: Claim, name: str) -> bool:
    """Both state it, and alike."""
    one, other = getattr(first.rating, name), getattr(second.rating, name)
    return one is not None and one == other


def _pair(first: Claim, second: Claim, by: str, *, certain: bool = True) -> _Pair:
    low, high = sorted((first, second), key=lambda claim: float(getattr(claim.rating, by)))
    needed = [name for name in _CONDITIONS if name != by and not (name == "channels_driven" and _single(first))]
    sure = certain and all(_settled(first, second, name) for name in needed)
    return _Pair(low=low, high=high, certain=sure)


def _single(claim: Claim) -> bool:
    return len(claim.amplifier.outputs) == 1


def _loads(pair: _Pair) -> Finding:
    """Hold two loads against each other: the volts cannot rise into the lower one."""
    low, high = pair.low, pair.high
    low_ohm, high_ohm = low.rating.load_ohm or 1.0, high.rating.load_ohm or 1.0
    same = low.rating.thd_percent == high.rating.thd_percent
    low_w, high_w = (low.power_w, high.power_w) if same else (clean_power(low.rating), clean_power(high.rating))
    ratio, most = low_w / high_w, high_ohm / low_ohm
    over = ratio > most * (1 + ROUNDING)
    lines = [] if same else [f"as clean sines, were they clipped hard: {said(low_w)} W and {said(high_w)} W"]
    lines += [
        f"{said(low_w)} W / {said(high_w)} W = {said(ratio)}; at most {high_ohm:g} / {low_ohm:g} = {said(most)}, "
        "with the same volts at both",
        f"volts at the load: {said(sqrt(low_w * low_ohm))} V r.m.s. at {low_ohm:g} ohm, "
        f"{said(sqrt(high_w * high_ohm))} V at {high_ohm:g} ohm",
    ]
    at = f"{rating_words(low.rating)} against {rating_words(high.rating)}"
    if over:
        message = f"{at}: the lower load would have to get more volts than the higher one."
    elif ratio > most * (1 - ROUNDING):
        message = f"{at}: just possible, if nothing sags."
    else:
        message = f"{at}: the volts fall by {said(100 * (1 - sqrt(ratio / most)))} % into the lower load."
    return Finding(
        code="load-ratio", about=pair.about, strength=pair.broken if over else "fits", message=message,
        arithmetic=tuple(lines), numbers={"ratio": ratio, "most": most}, hint=pair.hint if over else "",
    )  # fmt: skip


def _distortion(pair: _Pair) -> Finding:
    """Hold two limits of distortion against each other: the higher gives more, by what hard clipping tells."""
    low, high = pair.low, pair.high
    low_pc, high_pc = low.rating.thd_percent or 1.0, high.rating.thd_percent or 1.0
    ratio = high.power_w / low.power_w
    hard = clipped_share(high_pc / 100) / clipped_share(low_pc / 100)
    strength: Strength = "fits"
    at = f"{said(low.power_w)} W at {low_pc:g} % and {said(high.power_w)} W at {high_pc:g} %"
    message, hint = f"{at} differ as in an amplifier that clips hard, or less.", ""
    if ratio < 1 - ROUNDING:
        strength, message, hint = pair.broken, f"{at}: more distortion was allowed, and gives less power.", pair.hint
    elif ratio > hard * (1 + ROUNDING):
        strength = "doubtful"
        message = f"{at}: hard clipping explains {said(hard)} times, not {said(ratio)}."
        hint = (
            "A soft knee gives more, and so does another supply voltage: measure power against distortion in one ramp."
        )
    return Finding(
        code="distortion-ratio", about=pair.about, strength=strength, message=message,
        arithmetic=(
            f"{said(high.power_w)} W / {said(low.power_w)} W = {ratio:.3f}",
            f"a hard-clipped sine: {clipped_share(high_pc / 100):.4f} / {clipped_share(low_pc / 100):.4f} = {hard:.4f}",
        ),
        numbers={"ratio": ratio, "hard_clipping": hard}, hint=hint,
    )  # fmt: skip


def _supplies(pair: _Pair) -> Finding:
    """Hold two supply voltages against each other: power follows the square at most, where only the rail limits it."""
    low, high = pair.low, pair.high
    ratio, square = high.power_w / low.power_w, (high.supply_v / low.supply_v) ** 2
    at = f"{said(low.power_w)} W at {low.supply_v:g} V and {said(high.power_w)} W at {high.supply_v:g} V"
    strength: Strength = "fits"
    message = f"{at}: {_exponent_words(ratio)}."
    if ratio > square * (1 + ROUNDING) or ratio < 1 - ROUNDING:
        strength = "doubtful"
        message = f"{at}: {'more than the square of the voltage' if ratio > 1 else 'less power from more volts'}."
    elif low.amplifier.supply == "regulated" and ratio > 1 + 2 * ROUNDING:
        strength, message = "doubtful", f"{at}: stated as regulated, yet the power follows the supply."
    return Finding(
        code="supply-ratio", about=pair.about, strength=strength, message=message,
        arithmetic=(
            f"{said(high.power_w)} W / {said(low.power_w)} W = {said(ratio)}",
            f"({high.supply_v:g} V / {low.supply_v:g} V)² = {said(square)} where rails follow the supply, else 1",
        ),
        numbers={"ratio": ratio, "square": square},
        hint="Measure at both voltages: the exponent tells how the rails are made." if strength != "fits" else "",
    )  # fmt: skip


def _exponent_words(ratio: float) -> str:
    return "held, as by regulated rails" if ratio < 1 + ROUNDING else "between regulated rails and ones that follow"


def _channels(pair: _Pair) -> Finding:
    """Hold few driven outputs against many: none gives more when others are driven with it."""
    few, many = pair.low, pair.high
    few_n, many_n = few.rating.channels_driven or 1, many.rating.channels_driven or 1
    ratio, total_w = many.power_w / few.power_w, many_n * many.power_w
    over = ratio > 1 + ROUNDING
    at = f"{said(few.power_w)} W with {_outputs(few_n)} driven, {said(many.power_w)} W each with {_outputs(many_n)}"
    return Finding(
        code="channels-ratio", about=pair.about, strength=pair.broken if over else "fits",
        message=f"{at}: "
        + ("more outputs driven give none of them more power." if over else "together they share the supply."),
        arithmetic=(
            f"{said(many.power_w)} W / {said(few.power_w)} W = {said(ratio)}, at most 1",
            f"together {many_n} x {said(many.power_w)} W = {said(total_w)} W",
        ),
        numbers={"ratio": ratio, "total_w": total_w}, hint=pair.hint if over else "",
    )  # fmt: skip


def _outputs(count: int) -> str:
    return "one output" if count == 1 else f"{count} outputs"


def _twice(first: Claim, second: Claim) -> Iterator[Finding]:
    """Hold two ratings with the same conditions against each other."""
    ratio = max(first.power_w, second.power_w) / min(first.power_w, second.power_w)
    sure = all(_settled(first, second, name) for name in ("supply_v", "thd_percent"))
    sure = sure and (_single(first) or _settled(first, second, "channels_driven"))
    agree = ratio <= 1 + ROUNDING
    sources = " and ".join(claim.rating.source or "an unnamed source" for claim in (first, second))
    yield Finding(
        code="same-conditions", about=(first.number, second.number),
        strength="fits" if agree else ("contradiction" if sure else "doubtful"),
        message=f"{rating_words(first.rating)} and {rating_words(second.rating)} ({sources}) "
        + ("agree." if agree else "are two numbers for the same thing, as far as stated."),
        arithmetic=(f"{said(first.power_w)} W and {said(second.power_w)} W: {said(ratio)} times",),
        numbers={"ratio": ratio},
        hint="" if agree else "Ask which one holds, and under which conditions the other was taken.",
    )  # fmt: skip


def _bridged(single: Claim, bridged: Claim) -> Iterator[Finding]:
    """Hold a bridged rating against a single one: each side drives half of the load, and gives what it gives alone."""
    single_ohm, bridged_ohm = single.rating.load_ohm, bridged.rating.load_ohm
    if single_ohm is None or bridged_ohm is None or single_ohm < bridged_ohm / 2:
        return
    if any(_differs(single, bridged, name) for name in ("supply_v", "thd_percent")):
        return
    ratio, most = bridged.power_w / single.power_w, 4 * single_ohm / bridged_ohm
    over = ratio > most * (1 + ROUNDING)
    alone = single.rating.channels_driven == 1
    certain = alone and all(_settled(single, bridged, name) for name in ("supply_v", "thd_percent"))
    kept = sqrt(ratio / most)
    at = f"{rating_words(bridged.rating)} against {rating_words(single.rating)} of one output"
    yield Finding(
        code="bridged-ratio", about=(single.number, bridged.number),
        strength=("contradiction" if certain else "doubtful") if over else "fits",
        message=f"{at}: "
        + ("more than twice one side into half the load." if over else f"{said(100 * kept)} % of the volts kept."),
        arithmetic=(
            f"each side sees {bridged_ohm:g} ohm / 2 = {bridged_ohm / 2:g} ohm",
            f"{said(bridged.power_w)} W / {said(single.power_w)} W = {said(ratio)}; "
            f"at most 4 x {single_ohm:g} / {bridged_ohm:g} = {said(most)}, were the volts kept",
        ),
        numbers={"ratio": ratio, "most": most, "swing_kept": kept, "side_ohm": bridged_ohm / 2},
        hint=_Pair(low=single, high=bridged, certain=certain).hint if over else "",
    )  # fmt: skip
