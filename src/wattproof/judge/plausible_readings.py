"""Power ratings that state too little: what is missing, and the reading that would make the number true."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import product

from wattproof.amplifier import (
    STANDARD_THD,
    clean_power,
    clipped_share,
    efficiency_of,
    is_loud,
    states_enough,
)
from wattproof.judge.plausible_model import ROUNDING, Claim, Finding, Strength, rating_words, said

TEN_PERCENT = 0.10
SQUARE = 2.0
SQUARE_OVER_PLAIN = SQUARE / clipped_share(STANDARD_THD)
SHOWN = 3

_NEEDED = {"load_ohm": "the load", "supply_v": "the supply voltage", "thd_percent": "the distortion"}


@dataclass(frozen=True, kw_only=True)
class _Factor:
    """One step away from the plain reading: what it multiplies the number by, and its words; no words: no step."""

    times: float
    words: str = ""


def reading_findings(claims: Sequence[Claim]) -> Iterator[Finding]:
    """Look at every power that leaves load, supply voltage, distortion or the number of outputs open."""
    for claim in claims:
        missing = missing_from(claim)
        if missing:
            yield _finding(claim, missing, claims)


def missing_from(claim: Claim) -> tuple[str, ...]:
    """Name the conditions that a rated power leaves open."""
    found = [words for key, words in _NEEDED.items() if getattr(claim.rating, key) is None]
    several = len(claim.amplifier.outputs) > 1 and not claim.rating.bridged
    if several and claim.rating.channels_driven is None:
        found.append("how many outputs are driven")
    return tuple(found)


def _finding(claim: Claim, missing: tuple[str, ...], claims: Sequence[Claim]) -> Finding:
    base = _base(claim, claims)
    open_words = f"It leaves open {_and(missing)}"
    if base is None:
        return Finding(
            code="unstated", about=(claim.number,), strength="doubtful", message=f"{open_words}.",
            numbers={"missing": float(len(missing))},
            hint="Ask the maker, and type what is stated. No other rating says enough to reckon from.",
        )  # fmt: skip
    plain_w = _plain_power(claim, base)
    times = claim.power_w / plain_w
    lines = [
        f"{rating_words(base.rating)} gives {said(plain_w)} W at 1 %{_into(claim, base)}; "
        f"{said(claim.power_w)} W / {said(plain_w)} W = {said(times)}"
    ]
    strength: Strength = "fits" if times <= 1 + ROUNDING else "doubtful"
    true, nearest = _readings(claim, base)
    if strength == "fits":
        message = f"{open_words}; as a plain sine at 1 % it agrees with the better-stated {rating_words(base.rating)}."
    elif true:
        message = f"{open_words}; as a plain sine it is {said(times)} times what {rating_words(base.rating)} gives."
        lines += [f"it would be true as {words}: {said(watts)} W" for watts, words in true]
    else:
        message = (
            f"{open_words}; no reading looked at makes it true of an amplifier that gives {rating_words(base.rating)}."
        )
        lines.append(f"nearest: as {nearest[1]}: {said(nearest[0])} W")
    return Finding(
        code="unstated", about=(claim.number,), strength=strength, message=message, arithmetic=tuple(lines),
        numbers={"missing": float(len(missing)), "plain_w": plain_w, "times": times, "nearest_w": nearest[0]},
        hint="" if strength == "fits" else f"Ask the maker for {_and(missing)}; compare no amplifier by this number.",
    )  # fmt: skip


def _and(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _base(claim: Claim, claims: Sequence[Claim]) -> Claim | None:
    """Find the rating to reckon from: one that states more, for the same load if there is one."""
    able = [
        other
        for other in claims
        if other.number != claim.number
        and states_enough(other.rating)
        and not is_loud(other.rating)
        and bool(other.rating.bridged) is bool(claim.rating.bridged)
        and len(missing_from(other)) < len(missing_from(claim))
    ]
    wanted = claim.load_ohm
    return min(
        able,
        key=lambda other: (
            len(missing_from(other)),
            0.0 if wanted is None else abs((other.rating.load_ohm or wanted) / wanted - 1),
            other.rating.thd_percent or 100.0,
        ),
        default=None,
    )


def _plain_power(claim: Claim, base: Claim) -> float:
    """Give what the base gives at 1 % into the claim's load, its volts kept, W."""
    base_ohm = base.rating.load_ohm or 1.0
    wanted_ohm = claim.rating.load_ohm or base_ohm
    return clean_power(base.rating) * clipped_share(STANDARD_THD) * base_ohm / wanted_ohm


def _into(claim: Claim, base: Claim) -> str:
    wanted = claim.rating.load_ohm
    if wanted is None or wanted == base.rating.load_ohm:
        return ""
    return f" into {wanted:g} ohm, were its volts kept"


def _readings(claim: Claim, base: Claim) -> tuple[list[tuple[float, str]], tuple[float, str]]:
    """Multiply out every reading: those that make the number true, the plainest first; and the nearest of all."""
    found = []
    plain_w = _plain_power(claim, base)
    for factors in product(
        _waves(base, claim), _loads(claim, base), _outputs(claim), _volts(claim, base), _sides(claim)
    ):
        watts = plain_w
        for factor in factors:
            watts *= factor.times
        words = [factor.words for factor in factors if factor.words]
        if factors[0].times >= SQUARE_OVER_PLAIN and factors[-1].words:
            continue  # nobody tells the power taken in as a peak
        found.append((len(words), watts, ", ".join(words) or "a plain sine at 1 %"))
    near = [one for one in found if abs(one[1] / claim.power_w - 1) <= ROUNDING]
    fewest = min((steps for steps, _, _ in near), default=0)
    true = sorted((one for one in near if one[0] <= fewest), key=lambda one: abs(one[1] / claim.power_w - 1))
    nearest = min(found, key=lambda one: (abs(one[1] / claim.power_w - 1), one[0]))
    return [(watts, words) for _, watts, words in true[:SHOWN]], nearest[1:]


def _waves(base: Claim, claim: Claim) -> Iterator[_Factor]:
    """How the wave is read: what the plain one is multiplied by."""
    one = clipped_share(STANDARD_THD)
    if claim.rating.thd_percent is not None:
        stated = claim.rating.thd_percent
        yield _Factor(
            times=clipped_share(stated / 100) / one, words=f"a sine at its {stated:g} %" if stated != 1 else ""
        )
        return
    yield _Factor(times=1.0)
    yield _Factor(times=clipped_share(TEN_PERCENT) / one, words="a sine at 10 %")
    yield _Factor(times=SQUARE_OVER_PLAIN, words="a square wave")
    thd = base.rating.thd_percent or 1.0
    doubled = 2 * clipped_share(thd / 100) / one
    yield _Factor(times=doubled, words="twice the stated power, the instantaneous peak of a sine")


def _loads(claim: Claim, base: Claim) -> Iterator[_Factor]:
    yield _Factor(times=1.0)
    base_ohm, least_ohm = base.rating.load_ohm, claim.amplifier.minimum_load_ohm
    if claim.rating.load_ohm is None and base_ohm is not None and least_ohm is not None and least_ohm < base_ohm:
        yield _Factor(times=base_ohm / least_ohm, words=f"into {least_ohm:g} ohm with its volts kept")


def _outputs(claim: Claim) -> Iterator[_Factor]:
    yield _Factor(times=1.0)
    count = len(claim.amplifier.outputs)
    if count > 1 and claim.rating.channels_driven is None and not claim.rating.bridged:
        yield _Factor(times=float(count), words=f"all {count} outputs added")


def _volts(claim: Claim, base: Claim) -> Iterator[_Factor]:
    yield _Factor(times=1.0)
    base_v, high_v = base.supply_v, claim.highest_supply_v
    if claim.rating.supply_v is None and claim.amplifier.supply != "regulated" and base_v < high_v:
        yield _Factor(times=(high_v / base_v) ** 2, words=f"with {high_v:.3g} V of supply")


def _sides(claim: Claim) -> Iterator[_Factor]:
    """Watts that go in, told as watts that come out."""
    yield _Factor(times=1.0)
    usual = efficiency_of(claim.amplifier).usual
    yield _Factor(times=1 / usual, words=f"the power taken in, at an efficiency of {usual:g}")
