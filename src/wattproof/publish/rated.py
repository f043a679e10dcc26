"""Judgements as a report groups and writes them: one outcome a rating, numbers in the units that the trade reads."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from math import log10
from types import MappingProxyType
from typing import Literal

from wattproof.amplifier import Rating
from wattproof.judge import Judged, Judgement, Verdict
from wattproof.measure import Figure
from wattproof.publish.wording import LEAD, RATINGS
from wattproof.quantity import Quantity
from wattproof.report import face_value, signed_with_doubt

Outcome = Literal["meets", "falls short", "cannot tell", "depends"]

SENSES: Mapping[str, bool | None] = MappingProxyType({"at least": True, "at most": False, "about": None})
"""Whether more is better, by the sense of a claim; None where it is to be near."""

_SURE = 0.001
_LONG = 10.0
_NAMES = {"thd": "thd_n"}


@dataclass(frozen=True, kw_only=True)
class Weighed:
    """A rating with its judgements.

    Attributes
    ----------
    number : int
        Of the rating, from 0.
    words : str
        As the maker states it.
    judgements : tuple of Judgement
        One for each way to read it.
    """

    number: int
    words: str
    judgements: tuple[Judgement, ...]

    @property
    def outcome(self) -> Outcome:
        """The verdict that all ways to read it share, or that it depends on them."""
        verdicts: set[Verdict] = {one.verdict for one in self.judgements}
        if "meets" in verdicts and len(verdicts) > 1:
            return "depends"
        return next(iter(verdicts)) if len(verdicts) == 1 else "cannot tell"

    @property
    def best(self) -> Judgement:
        """The way to read it that is most favourable to the maker."""
        return most_favourable(self.judgements)


def weighed(judged: Judged) -> list[Weighed]:
    """Gather the judgements by their rating; a rating that nobody judged is left out."""
    found = [
        Weighed(number=n, words=words, judgements=tuple(one for one in judged.judgements if one.rating == n))
        for n, words in enumerate(judged.ratings)
    ]
    return [one for one in found if one.judgements]


def most_favourable(judgements: Sequence[Judgement]) -> Judgement:
    """Give the judgement nearest to being met; the first of equals."""
    return max(judgements, key=_favour)


def _favour(judgement: Judgement) -> tuple[float, float]:
    if judgement.margin is None:
        return -1.0, 0.0
    good = -judgement.margin if judgement.sense == "at most" else judgement.margin
    return judgement.probability or 0.0, -abs(good) if judgement.sense == "about" else good


def shown_unit(judgement: Judgement) -> tuple[str, Callable[[float], float]]:
    """Give the unit in which the trade reads a quantity, and what turns SI into it.

    Examples
    --------
    >>> from wattproof.judge import Reading
    >>> snr = Judgement(rating=0, quantity="snr", claimed=1e4, unit="V/V", sense="at least", reading=Reading(words=""),
    ...                 measured=None, corrected=None, verdict="cannot tell", why="")
    >>> unit, of = shown_unit(snr)
    >>> unit, of(1e4)
    ('dB', 80.0)
    """
    if judgement.unit == "V/V" and judgement.quantity != "thd":
        return "dB", lambda value: 20 * log10(value) if value > 0 else -200.0
    if judgement.unit in {"W/W", "V/V"}:
        return "%", lambda value: 100 * value
    return judgement.unit, lambda value: value


def weighed_figure(judgement: Judgement) -> Quantity | None:
    """Give what was weighed against the claim: at the rated conditions, else as measured."""
    return judgement.corrected or judgement.measured


def quantity_text(quantity: Quantity, judgement: Judgement) -> str:
    """Write a judged number as the trade does: ``523.2 ± 9.6 W``, ``86.61 ± 0.66 %``, ``83.25 dB``."""
    name = _NAMES.get(judgement.quantity, judgement.quantity)
    text = face_value(Figure(**dict(quantity), name=name, output=None, origin=""))
    return f"{text} {quantity.unit}" if "octave" in quantity.unit else text


def measured_text(judgement: Judgement) -> str:
    """Write what was measured, which may be another quantity than what is rated: a noise for a ratio to it."""
    measured = judgement.measured
    if measured is None:
        return ""
    if measured.unit == judgement.unit:
        return quantity_text(measured, judgement)
    return face_value(Figure(**dict(measured), name=judgement.measured_name, output=None, origin=""))


def margin_text(judgement: Judgement) -> str:
    """Write by how much the figure differs from the claim: ``5.4 % under``; in dB where the claim is in dB."""
    margin = judgement.margin
    if margin is None:
        return ""
    unit, of = shown_unit(judgement)
    amount = abs(of(1 + margin)) if unit == "dB" else abs(100 * margin)
    text = f"{amount:.2g}" if amount < _LONG else f"{amount:.0f}"
    return LEAD["over" if margin > 0 else "under"].format(f"{text} {unit if unit == 'dB' else '%'}")


def doubtful_margin_text(judgement: Judgement) -> str:
    """Write by how much the figure differs from the claim, with the doubt of that: ``-5.39 ± 0.95 %``."""
    figure, margin = weighed_figure(judgement), judgement.margin
    if figure is None or margin is None:
        return ""
    unit, of = shown_unit(judgement)
    low, high = figure.interval95
    if unit == "dB":
        value, half = of(1 + margin), (of(high) - of(low)) / 2
    else:
        unit, value, half = "%", 100 * margin, 50 * (high - low) / abs(judgement.claimed)
    return f"{signed_with_doubt(value, half)} {unit}"


def probability_text(probability: float) -> str:
    """Write a probability: ``74 %``; at its ends only a bound."""
    if probability < _SURE:
        return RATINGS["least"]
    return RATINGS["most"] if probability > 1 - _SURE else f"{100 * probability:.3g} %"


def claim_text(rating: Rating) -> str:
    """Write a rated number in the maker's unit: ``520 W``."""
    return f"{rating.value:g}{'' if rating.unit == '1' else ' ' + rating.unit}"
