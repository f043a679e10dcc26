"""What a claim draws: current, fuse, supply lead, heat. Each is a band, and a fuse is never a verdict."""

from collections.abc import Iterator, Sequence

from wattproof.amplifier import (
    FUSE_FOR_EVER,
    FUSE_FOR_MINUTES,
    LARGEST_BLADE_A,
    Amplifier,
    FuseDemand,
    ampacity,
    class_of,
    driven_in,
    efficiency_of,
    fuse_demand,
    heat,
    is_loud,
    opening_time,
    supply_current,
    system_volts,
)
from wattproof.judge.plausible_model import Claim, Finding, Strength, rating_words, said

MUSIC_BELOW_DB = 6.0
"""Loud, dense music at the edge of clipping lies about so far under the full sine, in mean power."""

ALUMINIUM_J_PER_KG_K = 900.0
TOO_HOT_K = 80.0
"""A rise after which protection is usual, K."""


def supply_findings(amplifier: Amplifier, claims: Sequence[Claim]) -> Iterator[Finding]:
    """Look at every claim's current, at the fuses, and at what carries the largest current and gives off its heat."""
    yield from _fuse_allows(amplifier, claims)
    yield from _fuse_sum(amplifier)
    for claim in claims:
        yield _current(claim)
    if claims:
        largest = max(claims, key=_total_w)
        for kind, area_mm2 in (("supply lead", largest.inside.cable_mm2), ("terminal", largest.inside.terminal_mm2)):
            if area_mm2 is not None:
                yield _conductor(largest, kind, area_mm2)
        plain = [claim for claim in claims if not is_loud(claim.rating)]
        yield _heat(max(plain or claims, key=_total_w))


def _total_w(claim: Claim) -> float:
    return driven_in(claim.rating, claim.amplifier) * claim.power_w


def _amps(claim: Claim) -> tuple[float, float, float]:
    """At the best, the usual and the poorest efficiency, A."""
    band = efficiency_of(claim.amplifier)
    best_a, usual_a, poor_a = (
        supply_current(_total_w(claim), efficiency=one, supply_v=claim.supply_v)
        for one in (band.best, band.usual, band.poor)
    )
    return best_a, usual_a, poor_a


def _current(claim: Claim) -> Finding:
    best_a, usual_a, poor_a = _amps(claim)
    band, count, volts = efficiency_of(claim.amplifier), driven_in(claim.rating, claim.amplifier), claim.supply_v
    music_a = usual_a / 10 ** (MUSIC_BELOW_DB / 10)
    each = f"{count} x " if count > 1 else ""
    lines = [
        f"{each}{said(claim.power_w)} W / {band.best:g} / {volts:g} V = {said(best_a)} A with the best efficiency of "
        f"{_class_words(claim.amplifier)}; {said(usual_a)} A with the usual one ({band.usual:g}), {said(poor_a)} A "
        f"with a poor one ({band.poor:g}); music {MUSIC_BELOW_DB:g} dB below it about {said(music_a)} A",
    ]
    numbers = {"claimed_w": _total_w(claim), "supply_v": volts, "best_a": best_a, "usual_a": usual_a, "poor_a": poor_a}
    numbers["music_a"] = music_a
    demand = fuse_demand(claim.rating, claim.amplifier)
    strength: Strength = "fits"
    message = f"It draws {said(best_a)} A or more at {volts:g} V; no fuse is stated."
    hint = ""
    if demand is not None:
        strength = "fits" if demand.times <= FUSE_FOR_EVER else "doubtful"
        lines += _fuse_lines(claim.amplifier, demand)
        numbers |= _fuse_numbers(demand)
        carries = f"the fuse of {demand.fuse_a:g} A carries that {_long(demand)}"
        message = f"It draws {said(best_a)} A or more at {volts:g} V; {carries}."
        hint = _fuse_hint(demand) if strength == "doubtful" else ""
    return Finding(
        code="supply-current", about=(claim.number,), strength=strength, message=message, arithmetic=tuple(lines),
        numbers=numbers, hint=hint,
    )  # fmt: skip


def _fuse_hint(demand: FuseDemand) -> str:
    return (
        "A doubt and no verdict: fuses carry overloads. Hold the claimed power and time it; what lasts for minutes is "
        f"{said(FUSE_FOR_MINUTES * demand.best_w)} W at most."
    )


def _fuse_lines(amplifier: Amplifier, demand: FuseDemand) -> Iterator[str]:
    yield f"{said(demand.need_a)} A / {demand.fuse_a:g} A = {demand.times:.3g} times the fuse"
    if demand.times > FUSE_FOR_EVER:
        grade = "as in ISO 8820-3, at second hand" if demand.times <= FUSE_FOR_MINUTES else "recalled, not read"
        yield f"a blade fuse opens there {_opens(demand.times)} ({grade})"
        inside = amplifier.inside
        if max((inside.fuses_a if inside and inside.fuses_a else None) or (demand.fuse_a,)) > LARGEST_BLADE_A:
            yield f"one fuse over {LARGEST_BLADE_A:g} A is no common blade and carries it longer: see its maker's curve"


def _fuse_numbers(demand: FuseDemand) -> dict[str, float]:
    return {
        "fuse_a": demand.fuse_a,
        "through_w": demand.through_w,
        "usual_w": demand.usual_w,
        "best_w": demand.best_w,
        "times": demand.times,
    }


def _long(demand: FuseDemand) -> str:
    if demand.times <= FUSE_FOR_EVER:
        return "without end"
    _, latest_s = opening_time(demand.times)
    if latest_s is None:
        return "for minutes or longer, as blade fuses go"
    long = "minutes" if latest_s > 60 else "seconds" if latest_s >= 1 else "half a second or less"
    return f"for {long}{' at most' if latest_s >= 1 else ''}, as blade fuses go"


def _opens(times: float) -> str:
    soonest_s, latest_s = opening_time(times)
    if latest_s is None:
        return f"after {soonest_s:g} s or more, or never"
    return f"within {latest_s:g} s" if soonest_s == 0 else f"after {soonest_s:g} to {latest_s:g} s"


def _class_words(amplifier: Amplifier) -> str:
    known = class_of(amplifier)
    return f"class {known}" if known else "any class"


def _fuse_sum(amplifier: Amplifier) -> Iterator[Finding]:
    inside = amplifier.inside
    if inside is None or inside.fuses_a is None or amplifier.fuse_a is None:
        return
    total_a = sum(inside.fuses_a)
    terms = " + ".join(f"{one:g}" for one in inside.fuses_a)
    agrees = abs(total_a / amplifier.fuse_a - 1) < 0.01
    verb = "are as stated" if agrees else f"are not the {amplifier.fuse_a:g} A of fuse_a"
    yield Finding(
        code="fuse-sum", strength="fits" if agrees else "doubtful",
        message=f"The fuses seen {verb}.",
        arithmetic=(f"{terms} A = {total_a:g} A",), numbers={"seen_a": total_a, "fuse_a": amplifier.fuse_a},
        hint="" if agrees else "Write the sum of those that were fitted when it was sold as fuse_a.",
    )  # fmt: skip


def _conductor(claim: Claim, kind: str, area_mm2: float) -> Finding:
    best_a, usual_a, _ = _amps(claim)
    low_a, most_a = ampacity(area_mm2)
    fits = best_a <= most_a
    verb = "carries" if fits else "does not carry"
    wire = f"A supply lead of {area_mm2:g} mm²" if kind == "supply lead" else f"A terminal for {area_mm2:g} mm²"
    return Finding(
        code="conductor", about=(claim.number,), strength="fits" if fits else "doubtful",
        message=f"{wire} {verb} the {said(best_a)} A of {rating_words(claim.rating)} without end.",
        arithmetic=(
            f"copper of {area_mm2:g} mm² carries {said(low_a)} to {said(most_a)} A, by insulation, air and bundling",
            f"the claim draws {said(best_a)} to {said(usual_a)} A as a sine; music a half to an eighth of it",
        ),
        numbers={"area_mm2": area_mm2, "low_a": low_a, "most_a": most_a, "best_a": best_a},
        hint="" if fits else "For seconds and for music it may do; nobody who means the number fits so thin a wire.",
    )  # fmt: skip


def _heat(claim: Claim) -> Finding:
    band, total_w = efficiency_of(claim.amplifier), _total_w(claim)
    best_w, usual_w, poor_w = (heat(total_w, efficiency=one) for one in (band.best, band.usual, band.poor))
    lines = [
        f"{said(total_w)} W / {band.usual:g} - {said(total_w)} W = {said(usual_w)} W of heat; {said(best_w)} W with "
        f"the best efficiency, {said(poor_w)} W with a poor one"
    ]
    numbers = {"best_w": best_w, "usual_w": usual_w, "poor_w": poor_w}
    rise_k = 0.0
    mass_kg, seconds = claim.amplifier.mass_kg, claim.rating.seconds
    if mass_kg is not None:
        per_k = mass_kg * ALUMINIUM_J_PER_KG_K
        lines.append(
            f"{mass_kg:g} kg x {ALUMINIUM_J_PER_KG_K:g} J/(kg K) = {said(per_k)} J/K were all of it aluminium: "
            f"{said(usual_w)} W warm it by 50 K in {said(50 * per_k / usual_w)} s while no heat escapes"
        )
        numbers["seconds_for_50_k"] = 50 * per_k / usual_w
        if seconds is not None:
            rise_k = best_w * seconds / per_k
            numbers["rise_k"] = rise_k
            lines.append(f"{said(best_w)} W x {seconds:g} s / {said(per_k)} J/K = {said(rise_k)} K in the time stated")
    doubtful = rise_k > TOO_HOT_K
    return Finding(
        code="heat", about=(claim.number,), strength="doubtful" if doubtful else "fits",
        message=f"It leaves about {said(usual_w)} W of heat in the amplifier"
        + (f", more than its mass stores for {seconds:g} s: its surface would have to shed it." if doubtful else "."),
        arithmetic=tuple(lines), numbers=numbers,
        hint="Hold the rated power for the time stated and watch temperature and gain." if doubtful else "",
    )  # fmt: skip


def _fuse_allows(amplifier: Amplifier, claims: Sequence[Claim]) -> Iterator[Finding]:
    """Say what the fuse allows, whatever is claimed, at the highest supply voltage that any claim is for."""
    if amplifier.fuse_a is None:
        return
    band = efficiency_of(amplifier)
    volts = max((claim.supply_v for claim in claims), default=system_volts(amplifier))
    demand = FuseDemand(claimed_w=0.0, fuse_a=amplifier.fuse_a, supply_v=volts, efficiency=band)
    minutes_w = FUSE_FOR_MINUTES * demand.best_w
    yield Finding(
        code="fuse-allows", strength="fits",
        message=f"Its fuse of {amplifier.fuse_a:g} A lets it give {said(band.poor * demand.through_w)} to "
        f"{said(demand.best_w)} W of all outputs together without end, and {said(minutes_w)} W for minutes at most.",
        arithmetic=(
            f"{amplifier.fuse_a:g} A x {demand.supply_v:g} V = {said(demand.through_w)} W in; x {band.poor:g} to "
            f"{band.best:g}, the efficiencies of {_class_words(amplifier)}",
            f"{said(demand.best_w)} W x {FUSE_FOR_MINUTES:g} = {said(minutes_w)} W, where blades open in 0.75 to 600 s",
        ),
        numbers={**_fuse_numbers(demand), "minutes_w": minutes_w, "poor_w": band.poor * demand.through_w},
    )  # fmt: skip
