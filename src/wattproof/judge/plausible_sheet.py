"""The rest of a sheet against itself and against physics: lowest load, efficiency, frequencies, slopes."""

from collections.abc import Iterator, Mapping, Sequence

from wattproof.amplifier import Amplifier, Rating, class_of, efficiency_of, linear_bound
from wattproof.judge.plausible_model import ROUNDING, Claim, Finding, Numbered, Strength, said
from wattproof.judge.plausible_signal import signal_findings

DB_PER_ORDER = 6.0
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
    yield from signal_findings(of, claims)


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
            found = _efficiency(amplifier, (number, claim.number), share, line + said(share), claim.rating.thd_percent)
            yield _of_current(found, claim, drawn_w)


def _of_current(found: Finding, claim: Claim, drawn_w: float) -> Finding:
    """Add what the stated current lets out; a power that may be no mean of a sine contradicts nothing."""
    band = efficiency_of(claim.amplifier)
    line = (
        f"{said(drawn_w)} W in x {band.poor:g} to {band.best:g} = {said(drawn_w * band.poor)} to "
        f"{said(drawn_w * band.best)} W out"
    )
    certain = found.strength != "contradiction" or claim.rating.thd_percent is not None
    return found.model_copy(
        update={
            "strength": found.strength if certain else "doubtful",
            "arithmetic": (*found.arithmetic, line),
            "numbers": {**found.numbers, "drawn_w": drawn_w},
        }
    )


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
