"""What pictures are of: a session's results, and the words that all of its pictures share."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from wattproof.amplifier import Amplifier
from wattproof.fit import Prediction
from wattproof.judge import Judged
from wattproof.measure import CaptureResult, Figure
from wattproof.publish.picture_words import SAY

_LISTED = 3
_ALIKE = 0.02


@dataclass(frozen=True, kw_only=True)
class PictureSubject:
    """A session as its pictures show it.

    Attributes
    ----------
    amplifier : Amplifier
    date : str
        Day of the bench, ISO 8601.
    captures : tuple of CaptureResult
    judged : Judged or None
        None where the maker states no rating.
    predictions : tuple of Prediction
        Into loads that the model knows, by ascending load; empty where there is no model.
    """

    amplifier: Amplifier
    date: str
    captures: tuple[CaptureResult, ...]
    judged: Judged | None = None
    predictions: tuple[Prediction, ...] = ()

    @property
    def name(self) -> str:
        """Maker and model."""
        return f"{self.amplifier.maker} {self.amplifier.model}"


def outputs_of(result: CaptureResult) -> tuple[str, ...]:
    """Give the outputs that a capture measured."""
    return tuple(dict.fromkeys(f.output for f in result.figures if f.output is not None))


def conditions_said(subject: PictureSubject, results: Sequence[CaptureResult]) -> tuple[str, ...]:
    """Say under which conditions some captures were taken: the day, loads, supply, tone, outputs driven.

    Returns
    -------
    tuple of str
        What the captures do not state is left out.
    """
    figures = [figure for result in results for figure in result.figures if figure.output is not None]
    loads = loads_stated(figures)
    volts = sorted(_stated(figures, "supply_v"))
    tones = _rounded(_stated(figures, "frequency_hz"), digits=4)
    driven = max((len(outputs_of(result)) for result in results), default=0)
    said = [
        SAY["day"].format(subject.date),
        SAY["loads"].format(listed(loads)) if loads else "",
        SAY["volts"].format(_span(volts)) if volts else "",
        SAY["tone"].format(listed(tones)) if tones else "",
        SAY["driven_one"] if driven == 1 else SAY["driven"].format(driven) if driven else "",
    ]
    return tuple(filter(None, said))


def loads_stated(figures: Iterable[Figure]) -> list[float]:
    """Give the loads, ohm, of some figures, to three digits, each once, ascending."""
    return _rounded(_stated(figures, "load_ohm"), digits=3)


def _stated(figures: Iterable[Figure], key: str) -> list[float]:
    stated = (figure.conditions.get(key) for figure in figures)
    return [float(value) for value in stated if isinstance(value, int | float) and value > 0]


def _rounded(values: Iterable[float], *, digits: int) -> list[float]:
    return sorted({float(f"{value:.{digits}g}") for value in values})


def listed(values: Sequence[float]) -> str:
    """List a few values that lie apart, or say the span of many, or of those that are nearly one."""
    texts = [f"{value:.4g}" for value in values]
    if len(texts) > _LISTED or (len(texts) > 1 and values[-1] < (1 + _ALIKE) * values[0]):
        return SAY["span"].format(texts[0], texts[-1])
    *others, last = texts
    return SAY["and"].format(", ".join(others), last) if others else last


def _span(volts: Sequence[float]) -> str:
    low, high = f"{volts[0]:.2f}", f"{volts[-1]:.2f}"
    return low if low == high else SAY["span"].format(low, high)
