"""The rest of a sheet against itself and against physics: loads, efficiency, frequencies, noise, gain, damping."""

from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations
from math import log10, sqrt

from wattproof.amplifier import Amplifier, Rating, class_of, efficiency_of, linear_bound
from wattproof.judge.plausible_model import ROUNDING, Claim, Finding, Strength, rating_words, said

Numbered = tuple[int, Rating]
"""A rating with its number."""

REFERENCE_V = 2.0
"""One watt in four ohm, V r.m.s."""

DB_SLACK = 0.5
"""Levels that differ by less agree, dB."""

LOOSE_DB = 1.0
"""Gain against sensitivity: knobs and roundings explain so much, dB."""

DB_PER_ORDER = 6.0
LEAD_OHM = 2 * 2.0 * 7.98e-3
"""Two metres of 2.5 mm² there and back, as of the wire standard's flexible class."""

ORDINALS = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth")


def sheet_findings(amplifier: Amplifier, claims: Sequence[Claim]) -> Iterator[Finding]:
    """Look at all that is rated beside the powers, and at the lowest load."""
    of: dict[str, list[Numbered]] = {}
    for number, rating in enumerate(amplifier.ratings):
        of.setdefault(rating.quantity, []).append((number, rating))
    yield from _lowest_load(amplifier, claims)
    yield from _efficiencies(amplifier, of, claims)
    yield from _band(of)
    yield from _slopes(of)
    yield from _noise_levels(of)
    yield from _signal_to_noise(of, claims)
    yield from _gain(of, claims)
    yield from _damping(of)


def _lowest_load(amplifier: Amplifier, claims: Sequence[Claim]) -> Iterator[Finding]:
    least_ohm = amplifier.minimum_load_ohm
    for claim in claims if least_ohm is not None else ():
        load_ohm = claim.rating.load_ohm
        bridged = bool(claim.rating.bridged) and len(amplifier.outputs) > 1
        if load_ohm is None or least_ohm is None:
            continue
        seen_ohm = load_ohm / 2 if bridged else load_ohm
        if seen_ohm < least_ohm * (1 - ROUNDING):
            line = f"each side sees {load_ohm:g} ohm / 2 = {seen_ohm:g} ohm" if bridged else f"{load_ohm:g} ohm"
            yield Finding(
                code="lowest-load", about=(claim.number,), strength="contradiction",
                message=f"It is rated below the lowest load allowed, {least_ohm:g} ohm for an output.",
                arithmetic=(f"{line} < {least_ohm:g} ohm",), numbers={"seen_ohm": seen_ohm, "least_ohm": least_ohm},
                hint="Ask the maker which holds before you connect it; a run sheet leaves such loads out.",
            )  # fmt: skip


def _efficiencies(
    amplifier: Amplifier, of: Mapping[str, Sequence[Numbered]], claims: Sequence[Claim]
) -> Iterator[Finding]:
    for number, rating in of.get("efficiency", ()):
        yield _efficiency(amplifier, (number,), rating.value_si, f"{rating.value_si:.3g} as stated", rating.thd_percent)
    for number, rating in of.get("supply_current", ()):
        for claim in claims:
            rated_v = rating.supply_v or claim.rating.supply_v
            if rated_v is None or not _same_load(claim.rating, rating) or rating.value_si <= 0:
                continue
            count = claim.rating.channels_driven or 1
            drawn_w = rating.value_si * rated_v
            line = f"{count} x {said(claim.power_w)} W / ({said(rating.value_si)} A x {rated_v:g} V) = "
            share = count * claim.power_w / drawn_w
            yield _efficiency(amplifier, (number, claim.number), share, line + said(share), claim.rating.thd_percent)


def _same_load(one: Rating, other: Rating) -> bool:
    return other.load_ohm is None or one.load_ohm == other.load_ohm


def _efficiency(
    amplifier: Amplifier, about: tuple[int, ...], share: float, line: str, thd_percent: float | None
) -> Finding:
    """Hold an efficiency against 1, and a linear stage's against its textbook bound."""
    known, best = class_of(amplifier), efficiency_of(amplifier).best
    clean, clipped = (1.0, 1.0)
    if known in {"AB", "B"}:
        clean = linear_bound(0.0 if thd_percent is None else thd_percent / 100)
        clipped = linear_bound(0.10) if thd_percent is None else clean
    elif known == "A":
        clean, clipped = 0.5, 1.0
    strength: Strength = "fits"
    message = f"An efficiency of {said(100 * share)} % is usual or less for {_class_words(known)}."
    if share > clipped * (1 + ROUNDING / 3):
        strength = "contradiction"
        message = f"An efficiency of {said(100 * share)} % is more than {_class_words(known)} can have."
    elif share > min(best, clean):
        strength = "doubtful"
        message = f"An efficiency of {said(100 * share)} % is more than is seen of {_class_words(known)}."
    lines = [line]
    if clean < 1:
        lines.append(
            f"at most {clean:.3g} with a clean sine, {clipped:.3g} at the distortion allowed, converter left out"
        )
    else:
        lines.append(f"{best:g} is the best reckoned with, converter included; 1 the most there can be")
    return Finding(
        code="efficiency", about=about, strength=strength, message=message, arithmetic=tuple(lines),
        numbers={"efficiency": share, "bound": clipped, "best": best},
        hint="Ask at which power and into which load; watts taken in are sometimes told as watts given."
        if strength != "fits" else "",
    )  # fmt: skip


def _class_words(known: str) -> str:
    return f"class {known}" if known else "an amplifier"


def _band(of: Mapping[str, Sequence[Numbered]]) -> Iterator[Finding]:
    """Look whether the lower limit lies below the upper, and a filter's corner between them."""
    for low_number, low in of.get("frequency_low", ()):
        for high_number, high in of.get("frequency_high", ()):
            low_hz, high_hz = low.value_si, high.value_si
            fits = low_hz < high_hz
            yield Finding(
                code="frequency-order", about=(low_number, high_number), strength="fits" if fits else "contradiction",
                message=f"The band from {low_hz:g} to {high_hz:g} Hz "
                + ("is one." if fits else "is none: its lower limit is not below its upper."),
                arithmetic=(f"{high_hz:g} Hz / {low_hz:g} Hz = {said(high_hz / low_hz) if low_hz else 'no ratio'}",),
                numbers={"low_hz": low_hz, "high_hz": high_hz},
                hint="" if fits else "Read both again, and their units.",
            )  # fmt: skip
            yield from _corners(of, (low_number, high_number), low_hz, high_hz)


def _corners(
    of: Mapping[str, Sequence[Numbered]], about: tuple[int, int], low_hz: float, high_hz: float
) -> Iterator[Finding]:
    for number, corner in of.get("filter", ()):
        if low_hz < high_hz and not low_hz <= corner.value_si <= high_hz:
            yield Finding(
                code="filter-corner", about=(number, *about), strength="doubtful",
                message=f"A filter's corner at {corner.value_si:g} Hz lies outside the band stated.",
                arithmetic=(f"{corner.value_si:g} Hz is not within {low_hz:g} to {high_hz:g} Hz",),
                numbers={"corner_hz": corner.value_si, "low_hz": low_hz, "high_hz": high_hz},
                hint="A low-pass above the band does nothing to it; read the numbers again.",
            )  # fmt: skip


def _slopes(of: Mapping[str, Sequence[Numbered]]) -> Iterator[Finding]:
    for number, rating in of.get("filter_slope", ()):
        order = rating.value / DB_PER_ORDER
        whole = abs(order - round(order)) < 0.05 and 1 <= round(order) <= len(ORDINALS)
        kind = f"of the {ORDINALS[round(order) - 1]} order" if whole else "of no whole order"
        yield Finding(
            code="filter-slope", about=(number,), strength="fits" if whole else "doubtful",
            message=f"{rating.value:g} dB an octave is a filter {kind}.",
            arithmetic=(f"{rating.value:g} dB / {DB_PER_ORDER:g} dB = {said(order)} orders",), numbers={"order": order},
            hint="" if whole else "Far from the corner every order gives 6 dB an octave: measure the response.",
        )  # fmt: skip


def _noise_levels(of: Mapping[str, Sequence[Numbered]]) -> Iterator[Finding]:
    """Hold two statements of noise, in volts or dB re 1 V, against each other."""
    for (first_number, first), (second_number, second) in combinations(of.get("noise", ()), 2):
        if min(first.value_si, second.value_si) <= 0:
            continue
        levels = [20 * log10(one.value_si) for one in (first, second)]
        apart_db = abs(levels[0] - levels[1])
        alike = first.note == second.note
        strength: Strength = "fits" if apart_db <= DB_SLACK else ("contradiction" if alike else "doubtful")
        yield Finding(
            code="noise-level", about=(first_number, second_number), strength=strength,
            message=f"Noise of {first.value:g} {first.unit} and of {second.value:g} {second.unit} "
            + ("agree." if strength == "fits" else f"are {said(apart_db)} dB apart."),
            arithmetic=tuple(
                f"20 lg({one.value_si:.4g} V / 1 V) = {level:.2f} dBV"
                for one, level in zip((first, second), levels, strict=True)
            ),
            numbers={"first_dbv": levels[0], "second_dbv": levels[1], "apart_db": apart_db},
            hint="Ask for bandwidth and weighting of each; or one of them is a slip." if strength != "fits" else "",
        )  # fmt: skip


def _signal_to_noise(of: Mapping[str, Sequence[Numbered]], claims: Sequence[Claim]) -> Iterator[Finding]:
    """Put a ratio in dB into volts of noise under each reference it may have, and against noise stated in volts."""
    references = _references(claims)
    for number, rating in of.get("snr", ()):
        lines = [
            f"re {words} ({said(volts)} V): {_micro(volts, rating.value)} of noise" for words, volts, _ in references
        ]
        volts = max(volts for _, volts, _ in references)
        shift_db = 20 * log10(volts / REFERENCE_V)
        lines.append(
            f"if re the largest: {rating.value:g} dB - {shift_db:.2f} dB = {rating.value - shift_db:.2f} dB re 1 W"
        )
        numbers = {"snr_db": rating.value, "shift_db": shift_db, "re_1_w_db": rating.value - shift_db}
        numbers["noise_v"] = volts * 10 ** (-rating.value / 20)
        told = rating.load_ohm is not None or _tells_reference(rating)
        yield Finding(
            code="snr-reference", about=(number,), strength="fits" if told else "doubtful",
            message=f"{rating.value:g} dB over noise: "
            + ("its reference is stated." if told else f"re what is left open; re 1 W maybe {said(shift_db)} dB less."),
            arithmetic=tuple(lines), numbers=numbers,
            hint="" if told else "Compare volts of noise, with bandwidth and weighting; ask for the reference.",
        )  # fmt: skip
        for noise_number, noise in of.get("noise", ()):
            if noise.value_si > 0:
                yield _noise_agrees(number, rating, noise_number, noise, references)


def _references(claims: Sequence[Claim]) -> list[tuple[str, float, int | None]]:
    found: list[tuple[str, float, int | None]] = [("1 W into 4 ohm", REFERENCE_V, None)]
    for claim in claims:
        if claim.rating.load_ohm is not None:
            found.append((rating_words(claim.rating), sqrt(claim.power_w * claim.rating.load_ohm), claim.number))
    return found


def _tells_reference(rating: Rating) -> bool:
    note = (rating.note or "").lower()
    return "not stated" not in note and any(
        word in f" {note} " for word in (" re ", "reference", " over ", "rated power")
    )


def _micro(reference_v: float, snr_db: float) -> str:
    return f"{said(1e6 * reference_v * 10 ** (-snr_db / 20))} µV"


def _noise_agrees(
    number: int, rating: Rating, noise_number: int, noise: Rating, references: Sequence[tuple[str, float, int | None]]
) -> Finding:
    """Find the reference under which ratio and volts agree."""
    apart = [(abs(20 * log10(volts / noise.value_si) - rating.value), words) for words, volts, _ in references]
    least_db, words = min(apart)
    fits = least_db <= LOOSE_DB
    return Finding(
        code="snr-noise", about=(number, noise_number), strength="fits" if fits else "doubtful",
        message=f"{rating.value:g} dB and {noise.value:g} {noise.unit} of noise "
        + (f"agree, re {words}." if fits else f"agree under no reference; {said(least_db)} dB are left re {words}."),
        arithmetic=tuple(
            f"20 lg({said(volts)} V / {noise.value_si:.4g} V) = {20 * log10(volts / noise.value_si):.2f} dB re {label}"
            for label, volts, _ in references
        ),
        numbers={"apart_db": least_db},
        hint="" if fits else "Weighting explains a few dB; ask whether both were taken alike.",
    )  # fmt: skip


def _gain(of: Mapping[str, Sequence[Numbered]], claims: Sequence[Claim]) -> Iterator[Finding]:
    """Hold gain times sensitivity against the volts of the rated power."""
    placed = [claim for claim in claims if claim.rating.load_ohm is not None and claim.rating.thd_percent is not None]
    if not placed:
        return
    claim = max(placed, key=lambda one: one.power_w)
    out_v = sqrt(claim.power_w * (claim.rating.load_ohm or 1.0))
    inputs = [(number, rating.value_si) for number, rating in of.get("sensitivity", ()) if rating.value_si > 0]
    for gain_number, gain in of.get("gain", ()):
        times = 10 ** (gain.value / 20) if gain.unit == "dB" else gain.value
        needed_v = out_v / times if times > 0 else None
        if needed_v is None or not inputs:
            continue
        low_v, high_v = min(v for _, v in inputs), max(v for _, v in inputs)
        nearest_v = min(max(needed_v, low_v), high_v)
        apart_db = abs(20 * log10(needed_v / nearest_v))
        fits = apart_db <= LOOSE_DB
        yield Finding(
            code="gain-sensitivity", about=(claim.number, gain_number, *(number for number, _ in inputs)),
            strength="fits" if fits else "doubtful",
            message="Gain, sensitivity and rated power "
            + ("agree." if fits else f"are {said(apart_db)} dB apart."),
            arithmetic=(
                f"sqrt({said(claim.power_w)} W x {claim.rating.load_ohm:g} ohm) = {said(out_v)} V r.m.s. at the load",
                f"{said(out_v)} V / {said(times)} = {said(needed_v)} V at the input; stated {said(low_v)}"
                + (f" to {said(high_v)} V" if high_v > low_v else " V"),
            ),
            numbers={"output_v": out_v, "needed_v": needed_v, "apart_db": apart_db},
            hint="" if fits else "Both change with the gain control: ask at which position each was taken.",
        )  # fmt: skip


def _damping(of: Mapping[str, Sequence[Numbered]]) -> Iterator[Finding]:
    resistances = of.get("output_resistance", ())
    for number, rating in of.get("damping_factor", ()):
        if rating.value <= 0:
            continue
        load_ohm = rating.load_ohm or 4.0
        own_ohm = load_ohm / rating.value
        at_end = load_ohm / (own_ohm + LEAD_OHM)
        assumed = "" if rating.load_ohm else " (assumed: none is stated; re 8 ohm the same output has twice the figure)"
        yield Finding(
            code="damping", about=(number,), strength="fits" if rating.load_ohm else "doubtful",
            message=f"A damping factor of {rating.value:g} means {said(1000 * own_ohm)} mohm"
            + ("." if rating.load_ohm else ", if it is re 4 ohm."),
            arithmetic=(
                f"{load_ohm:g} ohm / {rating.value:g} = {said(1000 * own_ohm)} mohm{assumed}",
                f"behind 2 m of 2.5 mm² ({said(1000 * LEAD_OHM)} mohm there and back) {said(at_end)} are left",
            ),
            numbers={"output_ohm": own_ohm, "at_the_load": at_end},
            hint="" if rating.load_ohm else "Ask for the output resistance in ohm.",
        )  # fmt: skip
        for other_number, resistance in resistances:
            if resistance.value_si > 0:
                yield _damping_agrees(number, rating, other_number, resistance)


def _damping_agrees(number: int, rating: Rating, other_number: int, resistance: Rating) -> Finding:
    loads_ohm = (rating.load_ohm,) if rating.load_ohm else (2.0, 4.0, 8.0)
    factors = [load_ohm / resistance.value_si for load_ohm in loads_ohm]
    load_ohm, factor = min(zip(loads_ohm, factors, strict=True), key=lambda one: abs(one[1] / rating.value - 1))
    fits = abs(factor / rating.value - 1) <= 2 * ROUNDING
    return Finding(
        code="damping-resistance", about=(number, other_number), strength="fits" if fits else "contradiction",
        message=f"A damping factor of {rating.value:g} and {said(1000 * resistance.value_si)} mohm "
        + (f"agree at {load_ohm:g} ohm." if fits else "do not agree at any load it may mean."),
        arithmetic=tuple(
            f"{one:g} ohm / {said(1000 * resistance.value_si)} mohm = {said(value)}"
            for one, value in zip(loads_ohm, factors, strict=True)
        ),
        numbers={"factor": factor, "stated": rating.value},
        hint="" if fits else "Leads or a frequency stand in one of them; ask for the ohms at the terminals.",
    )  # fmt: skip
