"""Plausibility as text: each rating with what was found about it, its arithmetic indented."""

import textwrap
from collections.abc import Iterator, Sequence

from wattproof.judge import Finding, Plausibility, RatingSaid
from wattproof.report.table import WIDEST

NOT_LOOKED_AT = "not looked at"
WORDS = {"contradiction": "CONTRADICTION", "doubtful": "doubtful", "fits": "fits"}
_WIDTH = max(len(words) for words in (*WORDS.values(), NOT_LOOKED_AT))
NO_VERDICT = (
    "None of this is a verdict: it is arithmetic on what is stated and seen. "
    "Only a measurement tells what the amplifier does."
)


def plausible_text(found: Plausibility) -> str:
    """Write what was found as plain text, at most 120 columns wide.

    Parameters
    ----------
    found : Plausibility

    Returns
    -------
    str
        Ends with a newline.
    """
    lines = [f"{found.amplifier}: {_counts(found.findings)}"]
    lines += [*_wrapped(NO_VERDICT, indent=0), ""]
    for rating in found.ratings:
        verdict = WORDS[rating.strength] if rating.strength else NOT_LOOKED_AT
        lines += _wrapped(_named(rating), indent=_WIDTH + 4, label=f"  {verdict:<{_WIDTH}}  ")
    for rating in found.ratings:
        lines += _section(rating, found)
    whole = [one for one in found.findings if not one.about]
    if whole:
        lines += ["", "The amplifier as a whole", *_findings(whole)]
    if found.unknown:
        lines += [
            "",
            "What more could be said",
            *(line for one in found.unknown for line in _wrapped(f"- {one}", 4, 2)),
        ]
    return "\n".join(lines) + "\n"


def _named(rating: RatingSaid) -> str:
    return f"{rating.words} ({rating.source})" if rating.source else rating.words


def _section(rating: RatingSaid, found: Plausibility) -> Iterator[str]:
    """Tell a rating's own findings, and point to those that are told with another."""
    own = [one for one in found.findings if one.about and one.about[0] == rating.number]
    elsewhere = [one for one in found.findings if rating.number in one.about[1:] and one.strength != "fits"]
    if own or elsewhere:
        yield from ("", _named(rating))
    for one in elsewhere:
        other = found.ratings[one.about[0]].words
        yield from _wrapped(f"{WORDS[one.strength]} ({one.code}): told with {other}", 6, 2)
    yield from _findings(own)


def _counts(findings: Sequence[Finding]) -> str:
    counts = {strength: sum(one.strength == strength for one in findings) for strength in WORDS}
    told = (
        (counts["contradiction"], "contradiction" if counts["contradiction"] == 1 else "contradictions"),
        (counts["doubtful"], "doubtful"),
        (counts["fits"], "fits" if counts["fits"] == 1 else "fit"),
    )
    return ", ".join(f"{count} {words}" for count, words in told if count) or "nothing to look at"


def _findings(findings: Sequence[Finding]) -> Iterator[str]:
    for one in findings:
        yield from _wrapped(f"{WORDS[one.strength]} ({one.code}): {one.message}", 6, 2)
        for line in one.arithmetic:
            yield from _wrapped(line, 10, 8)
        if one.hint:
            yield from _wrapped(f"What to do: {one.hint}", 8, 6)


def _wrapped(text: str, indent: int, first: int | None = None, label: str | None = None) -> list[str]:
    return textwrap.wrap(
        " ".join(text.split()),
        WIDEST,
        initial_indent=" " * (indent if first is None else first) if label is None else label,
        subsequent_indent=" " * indent,
        break_on_hyphens=False,
    )
