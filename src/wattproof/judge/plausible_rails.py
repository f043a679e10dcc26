"""The volts a claim needs, against the supply, the rails, their capacitors and the energy in them."""

from collections.abc import Iterator, Sequence
from math import pi, sqrt

from wattproof.amplifier import (
    FUSE_FOR_MINUTES,
    STANDARD_THD,
    Amplifier,
    clipped_share,
    direct_power,
    driven_in,
    fuse_demand,
    peak_volts,
)
from wattproof.judge.plausible_model import Claim, Finding, Strength, said

SQUARE_SHARE = 2.0
"""Power of a square wave over that of the largest clean sine, W/W."""

LOWEST_TONE_HZ = 20.0
"""Where no lower limit of frequency is stated."""

SLACK = 0.02
"""A measured rail is good to so much."""


def rail_findings(amplifier: Amplifier, claims: Sequence[Claim]) -> Iterator[Finding]:
    """Look at every claim whose load is known: volts, capacitors, energy."""
    yield from _capacitor_on_its_rail(amplifier)
    for claim in claims:
        if claim.load_ohm is not None:
            yield _volts(claim, claim.load_ohm)
            yield from _capacitor(claim, claim.load_ohm)
        yield from _store(claim)


def needed_volts(claim: Claim, load_ohm: float) -> tuple[float, float]:
    """Give the peak volts a claim needs: read at its distortion (1 % where none is stated), and at the least, V.

    At the least: where no distortion is stated, as a square wave, whose power is also an instantaneous peak's; where
    it is open how many outputs are driven, as the sum of all of them.
    """
    thd = claim.rating.thd_percent
    plain_w = claim.power_w / clipped_share(STANDARD_THD if thd is None else thd / 100)
    least_w = (plain_w if thd is not None else claim.power_w / SQUARE_SHARE) / _summed(claim)
    return peak_volts(plain_w, load_ohm), peak_volts(least_w, load_ohm)


def _summed(claim: Claim) -> int:
    """How many outputs a rating may be the sum of."""
    open_ = claim.rating.channels_driven is None and not claim.rating.bridged
    return len(claim.amplifier.outputs) if open_ else 1


def _volts(claim: Claim, load_ohm: float) -> Finding:
    plain_v, least_v = needed_volts(claim, load_ohm)
    thd = claim.rating.thd_percent
    share = clipped_share(STANDARD_THD if thd is None else thd / 100)
    at = f"{'1 % (assumed)' if thd is None else f'{thd:g} %'}"
    lines = [f"sqrt(2 x {said(claim.power_w)} W / {share:.4g} x {load_ohm:g} ohm) = {said(plain_v)} V peak at {at}"]
    if claim.rating.load_ohm is None:
        lines.insert(0, f"into {load_ohm:g} ohm, the lowest load allowed, for none is stated")
    if least_v < plain_v:
        lines.append(_least_line(claim, load_ohm, least_v))
    if claim.inside.rail_v is None:
        lines.append(_direct_line(claim, load_ohm))
    strength, words, more = _against_rail(claim, plain_v, least_v)
    return Finding(
        code="rail-volts", about=(claim.number,), strength=strength,
        message=f"It needs {_volts_words(claim, plain_v, least_v)} at the load{words}",
        arithmetic=(*lines, *more),
        numbers={"peak_v": plain_v, "least_v": least_v, "direct_w": direct_power(claim.supply_v, load_ohm)},
        hint=_VOLTS_HINT if strength != "fits" else "",
    )  # fmt: skip


def _volts_words(claim: Claim, plain_v: float, least_v: float) -> str:
    """Say the volts, and the least they may be under another reading."""
    if least_v == plain_v:
        return f"{said(plain_v)} V peak"
    if claim.rating.thd_percent is not None:
        return f"{said(plain_v)} V peak ({said(least_v)} V as a sum of outputs)"
    return f"{said(plain_v)} V peak as a sine at 1 % ({said(least_v)} V as a square wave{_and_sum(claim)})"


def _and_sum(claim: Claim) -> str:
    return f" and a sum of {_summed(claim)} outputs" if _summed(claim) > 1 else ""


def _least_line(claim: Claim, load_ohm: float, least_v: float) -> str:
    watts = f"{said(claim.power_w)} W" + (f" / {_summed(claim)} outputs" if _summed(claim) > 1 else "")
    if claim.rating.thd_percent is None:
        return f"sqrt({watts} x {load_ohm:g} ohm) = {said(least_v)} V as a square wave or an instantaneous peak"
    return f"{said(least_v)} V were it the sum of {_summed(claim)} outputs"


_VOLTS_HINT = (
    "Measure rail_v again at the rated supply voltage, and look whether both output terminals are driven "
    "(full_bridge under [inside])."
)


def _direct_line(claim: Claim, load_ohm: float) -> str:
    """Say what a bridge straight on the supply gives, at the limits that ratings are read at."""
    clean_w = direct_power(claim.supply_v, load_ohm)
    square_w = SQUARE_SHARE * clean_w
    if claim.power_w > square_w:
        return (
            f"a bridge straight on {claim.supply_v:g} V gives at most {claim.supply_v:g}² / {load_ohm:g} ohm = "
            f"{said(square_w)} W, as a square wave"
        )
    given = ", ".join(f"{said(clean_w * clipped_share(thd))} W at {100 * thd:g} %" for thd in (0.01, 0.1))
    return (
        f"a lossless bridge straight on {claim.supply_v:g} V: {claim.supply_v:g}² / (2 x {load_ohm:g} ohm) = "
        f"{said(clean_w)} W clean, {given}, {said(square_w)} W as a square wave"
    )


def _against_rail(claim: Claim, plain_v: float, least_v: float) -> tuple[Strength, str, list[str]]:
    """Weigh the volts needed against what stands behind the output: supply or rails; strength, words, lines."""
    inside = claim.inside
    if inside.rail_v is not None:
        return _against_measured(claim, inside.rail_v, plain_v, least_v)
    if inside.converter is False:
        most_v, likely_v = claim.highest_supply_v, claim.supply_v
        single = 0.5 if inside.full_bridge is False and not claim.rating.bridged else 1.0
        strength = _weighed(plain_v, least_v, single * likely_v, single * most_v)
        words = {
            "fits": f"; {single * likely_v:g} V straight from the supply give it.",
            "doubtful": f"; {single * likely_v:g} V straight from the supply give it only under another reading.",
            "contradiction": f", and no converter was seen: {single * most_v:g} V is all there is.",
        }
        return strength, words[strength], []
    if plain_v <= claim.supply_v:
        return "fits", "; a bridge straight on the supply could give it.", []
    return "fits", "; that takes a step-up converter inside, so look for its transformer.", []


def _against_measured(claim: Claim, rail_v: float, plain_v: float, least_v: float) -> tuple[Strength, str, list[str]]:
    likely_v, most_v = rail_at(claim, rail_v)
    low, high = swings(claim)
    strength = _weighed(plain_v, least_v, low * likely_v, high * most_v)
    if strength == "contradiction" and claim.inside.rail_at_supply_v is None and claim.amplifier.supply != "regulated":
        strength = "doubtful"
    lines = []
    if likely_v != rail_v:
        lines.append(
            f"the rail follows the supply: {rail_v:g} V measured are {said(likely_v)} V at {claim.supply_v:g} V"
        )
    if most_v > max(likely_v, rail_v):
        lines.append(
            f"and {said(most_v)} V of rail at {claim.highest_supply_v:g} V of supply, the most that may be meant"
        )
    if low != high:
        lines.append(
            f"one half of the rails swings {said(low * likely_v)} V, both in a full bridge {said(high * likely_v)} V"
        )
    words = {
        "fits": f"; the rail of {said(likely_v)} V gives it.",
        "doubtful": f"; the rail of {said(likely_v)} V gives it only under another reading.",
        "contradiction": f"; the rails swing {said(high * most_v)} V at most.",
    }
    return strength, words[strength], lines


def rail_at(claim: Claim, rail_v: float) -> tuple[float, float]:
    """Give the rail at the claim's supply voltage: as it likely is, and the most it may be, V."""
    at_v = claim.inside.rail_at_supply_v
    if at_v is None or claim.amplifier.supply == "regulated":
        return rail_v, rail_v
    likely, most = claim.supply_v / at_v, claim.highest_supply_v / at_v
    if claim.amplifier.supply == "unknown":
        return rail_v, rail_v * max(most, 1.0)
    return rail_v * likely, rail_v * most


def swings(claim: Claim) -> tuple[float, float]:
    """Give how many rails' volts one output swings to either side: at least, and at most."""
    if claim.rating.bridged or claim.inside.full_bridge:
        return 2.0, 2.0
    return (1.0, 1.0) if claim.inside.full_bridge is False else (1.0, 2.0)


def _weighed(plain_v: float, least_v: float, likely_v: float, most_v: float) -> Strength:
    if least_v > most_v * (1 + SLACK):
        return "contradiction"
    return "doubtful" if plain_v > likely_v * (1 + SLACK) else "fits"


def _capacitor(claim: Claim, load_ohm: float) -> Iterator[Finding]:
    printed_v = claim.inside.rail_capacitor_v
    if printed_v is None:
        return
    plain_v, least_v = needed_volts(claim, load_ohm)
    low, high = swings(claim)
    strength = _weighed(plain_v / low, least_v / high, printed_v, printed_v)
    each = f"{_volts_words(claim, plain_v, least_v)} takes as much on each rail"
    if high > 1:
        each = (
            f"{_volts_words(claim, plain_v, least_v)} takes {said(plain_v / high)} V on each rail where both "
            f"terminals are driven{f', else {said(plain_v)} V' if low < high else ''}"
        )
    words = {
        "fits": f"Its capacitors of {printed_v:g} V bear the rail it needs.",
        "doubtful": f"Its capacitors of {printed_v:g} V bear the rail it needs only under another reading.",
        "contradiction": f"Its capacitors of {printed_v:g} V cannot sit on the rail it needs.",
    }
    yield Finding(
        code="capacitor-volts", about=(claim.number,), strength=strength, message=words[strength], arithmetic=(each,),
        numbers={"printed_v": printed_v, "rail_needed_v": plain_v / low, "least_rail_v": least_v / high},
        hint="" if strength == "fits" else "Look whether two stand in series, and write their sum as rail_capacitor_v.",
    )  # fmt: skip


def _capacitor_on_its_rail(amplifier: Amplifier) -> Iterator[Finding]:
    inside = amplifier.inside
    if inside is None or inside.rail_v is None or inside.rail_capacitor_v is None:
        return
    over = inside.rail_v / inside.rail_capacitor_v
    fits = over <= 1
    yield Finding(
        code="capacitor-rail", strength="fits" if fits else "contradiction",
        message=f"Capacitors of {inside.rail_capacitor_v:g} V {'bear' if fits else 'cannot sit on'} the rail of "
        f"{inside.rail_v:g} V that was measured.",
        arithmetic=(f"{inside.rail_v:g} V / {inside.rail_capacitor_v:g} V = {said(over)}",),
        numbers={"rail_v": inside.rail_v, "printed_v": inside.rail_capacitor_v},
        hint="" if fits else "Measure the rail to the output's zero, not across both halves; read the print again.",
    )  # fmt: skip


def _store(claim: Claim) -> Iterator[Finding]:
    """Energy of the rail capacitors against the claim: how long it lasts, and what one cycle asks of it."""
    inside = claim.inside
    farads, from_v = inside.rail_capacitance_f, inside.rail_v or inside.rail_capacitor_v
    if farads is None or from_v is None:
        return
    rail_v = from_v if inside.rail_v is None else rail_at(claim, from_v)[0]
    total_w = driven_in(claim.rating, claim.amplifier) * claim.power_w
    stored_j = farads * rail_v**2 / 2
    lasts_s = stored_j / total_w
    tone_hz, tone_words = _lowest_tone(claim.amplifier)
    swing_j = total_w / (2 * pi * tone_hz)
    lines = [
        f"{said(farads * 1e6)} µF x ({said(rail_v)} V)² / 2 = {said(stored_j)} J"
        + ("" if inside.rail_v else ", with the printed volts for the rail: at most"),
        f"{said(stored_j)} J / {said(total_w)} W = {said(1000 * lasts_s)} ms",
        *_until_it_clips(claim, rail_v, total_w),
        f"at {tone_hz:g} Hz{tone_words} the energy of a sine swings by {said(total_w)} W / (2 pi x {tone_hz:g} Hz) = "
        f"{said(swing_j)} J about its mean in every half cycle",
        _sag_line(rail_v, stored_j, swing_j),
    ]
    demand = fuse_demand(claim.rating, claim.amplifier)
    doubtful = demand is not None and demand.times > FUSE_FOR_MINUTES and lasts_s < 1 / tone_hz
    message = (
        f"The rail capacitors hold {said(1000 * lasts_s)} ms of it, {said(lasts_s * tone_hz)} cycles of {tone_hz:g} Hz"
    )
    yield Finding(
        code="rail-store", about=(claim.number,), strength="doubtful" if doubtful else "fits",
        message=message + (": they do not bridge what the fuse does not pass." if doubtful else "."),
        arithmetic=tuple(lines),
        numbers={
            "stored_j": stored_j, "lasts_s": lasts_s, "rail_v": rail_v, "tone_hz": tone_hz, "swing_j": swing_j,
            "sagged_v": _sagged(rail_v, stored_j, swing_j),
        },
        hint="Ask for how long the number is meant: a burst of one cycle, or a tone." if doubtful else "",
    )  # fmt: skip


def _until_it_clips(claim: Claim, rail_v: float, total_w: float) -> Iterator[str]:
    """From the full rail down to the volts that the wave's peak needs."""
    if claim.load_ohm is None:
        return
    need_v = needed_volts(claim, claim.load_ohm)[0] / swings(claim)[0]
    farads = claim.inside.rail_capacitance_f or 0.0
    if need_v < rail_v:
        usable_j = farads * (rail_v**2 - need_v**2) / 2
        yield (
            f"down to the {said(need_v)} V its peak needs: {said(farads * 1e6)} µF x "
            f"({said(rail_v)}² - {said(need_v)}²) / 2 = {said(usable_j)} J, {said(1000 * usable_j / total_w)} ms"
        )


def _sagged(rail_v: float, stored_j: float, swing_j: float) -> float:
    """Rail after the capacitors alone have given the swing, V; 0 where they cannot."""
    return rail_v * sqrt(max(1 - swing_j / stored_j, 0.0))


def _sag_line(rail_v: float, stored_j: float, swing_j: float) -> str:
    if swing_j >= stored_j:
        return (
            f"more than the {said(stored_j)} J they hold: converter and supply follow every half cycle, "
            "with current peaks of twice the mean"
        )
    sagged_v = _sagged(rail_v, stored_j, swing_j)
    share = 100 * (1 - sagged_v / rail_v)
    return f"given by them alone the rail sags from {said(rail_v)} to {said(sagged_v)} V, by {said(share)} %"


def _lowest_tone(amplifier: Amplifier) -> tuple[float, str]:
    stated = [r.value_si for r in amplifier.ratings if r.quantity == "frequency_low" and r.value_si > 0]
    return (min(stated), "") if stated else (LOWEST_TONE_HZ, " (assumed: no lower limit is stated)")
