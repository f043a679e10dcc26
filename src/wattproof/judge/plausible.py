"""Plausibility of an amplifier's ratings without a bench: arithmetic and physics, told step by step; no verdict."""

from collections.abc import Iterator, Sequence

from wattproof.amplifier import Amplifier, Inside
from wattproof.judge.plausible_model import (
    STRENGTHS,
    Claim,
    Finding,
    Plausibility,
    RatingSaid,
    claims_of,
    rating_words,
    worst,
)
from wattproof.judge.plausible_pairs import pair_findings
from wattproof.judge.plausible_rails import rail_findings
from wattproof.judge.plausible_readings import missing_from, reading_findings
from wattproof.judge.plausible_sheet import sheet_findings
from wattproof.judge.plausible_supply import supply_findings


def plausible(amplifier: Amplifier) -> Plausibility:
    """Look at an amplifier's ratings without a bench.

    Parameters
    ----------
    amplifier : Amplifier
        Ratings, fuse and class as stated; what was seen inside, if anything.

    Returns
    -------
    Plausibility
        Contradictions first, then what is doubtful, then what fits, each with its arithmetic.

    References
    ----------
    docs/methods/plausibility.md.
    """
    claims = tuple(claims_of(amplifier))
    found = [
        *reading_findings(claims),
        *pair_findings(claims),
        *rail_findings(amplifier, claims),
        *supply_findings(amplifier, claims),
        *sheet_findings(amplifier, claims),
    ]
    findings = tuple(sorted(found, key=lambda finding: STRENGTHS.index(finding.strength)))
    return Plausibility(
        amplifier=f"{amplifier.maker} {amplifier.model}",
        ratings=tuple(_said(amplifier, findings)),
        findings=findings,
        unknown=tuple(_unknown(amplifier, claims)),
    )


def unsaid(amplifier: Amplifier) -> dict[int, tuple[str, ...]]:
    """Name the conditions that each rated power leaves open, by the rating's number.

    Examples
    --------
    >>> from wattproof.amplifier import Rating
    >>> rating = Rating(quantity="power", value=520, unit="W", load_ohm=2)
    >>> unsaid(Amplifier(maker="Saltmarsh & Daughter", model="Bittern 1", ratings=(rating,)))
    {0: ('the supply voltage', 'the distortion')}
    """
    return {claim.number: missing_from(claim) for claim in claims_of(amplifier)}


def _said(amplifier: Amplifier, findings: Sequence[Finding]) -> Iterator[RatingSaid]:
    for number, rating in enumerate(amplifier.ratings):
        about = [finding.strength for finding in findings if number in finding.about]
        yield RatingSaid(
            number=number,
            words=rating_words(rating),
            source=rating.source or "",
            strength=worst(about) if about else None,
        )


def _unknown(amplifier: Amplifier, claims: Sequence[Claim]) -> Iterator[str]:
    """Name what would allow more to be said, and the key to type it in."""
    inside = amplifier.inside or Inside()
    if not claims:
        yield "No power is rated: type the maker's ratings as [[ratings]]."
        return
    if amplifier.fuse_a is None:
        yield "What its fuse passes: type fuse_a."
    if not amplifier.class_:
        yield "How much it has to draw: type class, as in D or AB."
    if any(claim.load_ohm is None for claim in claims):
        yield "The volts of a rating without a load: type minimum_load_ohm."
    if inside.rail_v is None:
        yield "Whether the rails give the volts: measure rail_v and rail_at_supply_v, and type them under [inside]."
    if inside.rail_capacitor_v is None:
        yield "Whether the capacitors bear the rail: type the volts printed on them as rail_capacitor_v under [inside]."
    if inside.rail_capacitance_f is None:
        yield "How long the capacitors could help: type their farads as rail_capacitance_f under [inside]."
