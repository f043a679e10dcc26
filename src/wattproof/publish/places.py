"""Where in a report each capture and each figure stands, so that every number can lead to its origin."""

from collections.abc import Sequence

from wattproof.measure import CaptureResult, Condition, Figure
from wattproof.publish.document import Link, Words
from wattproof.report import face_value, place_name, sized


class Places:
    """Anchors of the captures and figures of one report.

    Parameters
    ----------
    results : sequence of CaptureResult
        As the report holds them: a figure is known by being the same object.
    """

    def __init__(self, results: Sequence[CaptureResult]) -> None:
        self._results = tuple(results)
        self._captures = {id(result): f"capture-{n}" for n, result in enumerate(self._results, start=1)}
        self._figures = {
            id(figure): f"figure-{number}-{place}"
            for number, result in enumerate(self._results, start=1)
            for place, figure in enumerate(result.figures, start=1)
        }

    def capture(self, result: CaptureResult) -> str:
        """Give the anchor of a capture."""
        return self._captures[id(result)]

    def figure(self, figure: Figure) -> str:
        """Give the anchor of a figure."""
        return self._figures[id(figure)]

    def value(self, figure: Figure | None, *, none: str = "–") -> tuple[Words, ...]:
        """Give a figure's value as a cell that leads to its origin."""
        return (none,) if figure is None else (Link(text=face_value(figure), to=self.figure(figure)),)

    def file(self, result: CaptureResult) -> Link:
        """Give a capture's name as a link."""
        return Link(text=place_name(result), to=self.capture(result))

    def found(self, told: str) -> tuple[Words, ...]:
        """Make the capture that a text begins with a link; plain words where it is none of these.

        Parameters
        ----------
        told : str
            Such as ``ramp.wav 4.946-4.968 s, 2.006 ohm``.
        """
        fitting = [result for result in self._results if told.startswith(place_name(result))]
        fitting += [result for result in self._results if not fitting and told.startswith(result.file)]
        if not fitting:
            return (told,)
        longest = max(fitting, key=lambda result: len(place_name(result)))
        name = place_name(longest) if told.startswith(place_name(longest)) else longest.file
        span, comma, rest = told.removeprefix(name).partition(",")
        return (Link(text=f"{name}{span}", to=self.capture(longest)), f"{comma}{rest}")


def number(figure: Figure, key: str) -> float | None:
    """Give a condition that is a number; None where it is not stated."""
    value: Condition | None = figure.conditions.get(key)
    return float(value) if isinstance(value, int | float) else None


def load_text(figure: Figure | None) -> str:
    """Say into which load: ``2.006 ohm``; nothing where that is not known."""
    load = None if figure is None else number(figure, "load_ohm")
    return "" if load is None else f"{load:.3g} ohm"


def supply_of(result: CaptureResult, figure: Figure) -> float | None:
    """Give the supply voltage of a figure: its own condition, or the mean of its capture."""
    stated, mean = number(figure, "supply_v"), result.figure("supply_voltage", None)
    return mean.value if stated is None and mean is not None else stated


def supply_text(result: CaptureResult, figure: Figure) -> str:
    """Say at which supply voltage: ``14.20 V``; nothing where that is not known."""
    supply = supply_of(result, figure)
    return "" if supply is None else f"{supply:.2f} V"


def time_text(seconds: float) -> str:
    """Say a time: ``15 s``."""
    return sized(seconds, "s")
