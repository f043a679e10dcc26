"""What the pictures of a session say alike: of which amplifier, under which conditions."""

from collections.abc import Iterable, Sequence

from wattproof.fit import Prediction
from wattproof.measure import CaptureResult, Figure
from wattproof.publish.inputs import PublishedSession
from wattproof.publish.picture_words import SAY

_LISTED = 3
_ALIKE = 0.02


def amplifier_name(inputs: PublishedSession) -> str:
    """Give maker and model."""
    return f"{inputs.amplifier.maker} {inputs.amplifier.model}"


def other_loads(inputs: PublishedSession) -> list[Prediction]:
    """Give what the model predicts into the usual loads at the supply voltage that matters, by ascending load."""
    if not inputs.curve:
        return []
    supply_v = inputs.curve[0].asked.supply_v
    found = [one.prediction for one in inputs.foreseen if one.prediction and one.supply_v == supply_v]
    return sorted(found, key=lambda prediction: prediction.asked.load_ohm)


def outputs_of(result: CaptureResult) -> tuple[str, ...]:
    """Give the outputs that a capture measured."""
    return tuple(dict.fromkeys(f.output for f in result.figures if f.output is not None))


def conditions_said(inputs: PublishedSession, results: Sequence[CaptureResult]) -> tuple[str, ...]:
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
        SAY["day"].format(inputs.day),
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
