"""Noise, gain, volts and damping as stated, against each other and against the powers."""

from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations
from math import log10, sqrt

from wattproof.amplifier import Rating
from wattproof.judge.plausible_model import ROUNDING, Claim, Finding, Numbered, Strength, rating_words, said

REFERENCE_V = 2.0
"""One watt in four ohm, V r.m.s."""

DB_SLACK = 0.5
"""Levels that differ by less agree, dB."""

LOOSE_DB = 1.0
"""Gain against sensitivity: knobs and roundings explain so much, dB."""

LEAD_OHM = 2 * 2.0 * 7.98e-3
"""Two metres of 2.5 mm² there and back, as of the wire standard's flexible class."""


def signal_findings(of: Mapping[str, Sequence[Numbered]], claims: Sequence[Claim]) -> Iterator[Finding]:
    """Look at what is rated of the signal, by quantity."""
    yield from _noise_levels(of)
    yield from _signal_to_noise(of, claims)
    yield from _gain(of, claims)
    yield from _volts_of_power(of, claims)
    yield from _damping(of)


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


def _volts_of_power(of: Mapping[str, Sequence[Numbered]], claims: Sequence[Claim]) -> Iterator[Finding]:
    """Hold volts at the load against the power stated for the same load."""
    for number, rating in of.get("output_voltage", ()):
        same = [one for one in claims if rating.load_ohm is not None and one.rating.load_ohm == rating.load_ohm]
        if not same or rating.load_ohm is None or rating.value_si <= 0:
            continue
        implied_w = rating.value_si**2 / rating.load_ohm
        claim = min(same, key=lambda one: abs(log10(one.power_w / implied_w)))
        true_ohm = rating.value_si**2 / claim.power_w
        fits = abs(implied_w / claim.power_w - 1) <= ROUNDING
        yield Finding(
            code="volts-power", about=(number, claim.number), strength="fits" if fits else "contradiction",
            message=f"{rating.value:g} {rating.unit} into {rating.load_ohm:g} ohm "
            + f"are {said(implied_w)} W, {'as stated' if fits else f'not {said(claim.power_w)} W'}.",
            arithmetic=(
                f"({said(rating.value_si)} V)² / {rating.load_ohm:g} ohm = {said(implied_w)} W",
                f"({said(rating.value_si)} V)² / {said(claim.power_w)} W = {said(true_ohm)} ohm would make both true",
            ),
            numbers={"implied_w": implied_w, "stated_w": claim.power_w, "true_ohm": true_ohm},
            hint="" if fits else "Read load and volts again: r.m.s. volts belong beside a mean power.",
        )  # fmt: skip
