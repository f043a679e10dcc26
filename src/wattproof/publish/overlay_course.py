"""What a clip shows of a capture at each moment: nothing before the samples it is made of have all been recorded."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from wattproof.errors import MissingChannelError
from wattproof.measure import CaptureResult, CurvePoint

Real = NDArray[np.float64]

QUANTITIES = ("load_power", "thd_n", "supply_voltage", "supply_current", "temperature")
"""What may have a line in the ledger, from the curve's points."""

GAP = 1.5
"""Points further apart than so many of their usual distances have a gap between them."""


@dataclass(frozen=True, kw_only=True)
class Shares:
    """Where the supply's power goes at a moment.

    Attributes
    ----------
    load : float, W/W, 0 to 1
        What the loads get of it; the rest is heat in the amplifier.
    supply_w : float
        The whole.
    """

    load: float
    supply_w: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Course:
    """One output's curve in the order in which it became known.

    Attributes
    ----------
    kind : str
        "ramp", "burst" or "hold".
    output : str
    duration_s : float
        Length of the capture.
    n_outputs : int
        Outputs that were driven; the supply feeds them all.
    begun_s, known_s, until_s : Real of shape (n_points,)
        When the samples behind a point begin and end, and until when it is the latest there is.
    columns : mapping of str to Real of shape (n_points,)
        `QUANTITIES` that the capture gives, SI; NaN where a point has none.
    load_share, supply_w : Real of shape (n_points,)
        Power in all loads over power from the supply, and the latter; NaN where not known, or where the share is none.
    """

    kind: str
    output: str
    duration_s: float
    n_outputs: int
    begun_s: Real
    known_s: Real
    until_s: Real
    columns: Mapping[str, Real] = field(repr=False)
    load_share: Real = field(repr=False)
    supply_w: Real = field(repr=False)

    @property
    def longest_s(self) -> float:
        """Length of the longest stretch that a point is a mean over: so old its oldest sample is when it is shown."""
        return float(np.max(self.known_s - self.begun_s))

    def known(self, t_s: float) -> int:
        """Count the points whose samples have all been recorded at a time of the capture."""
        return int(np.searchsorted(self.known_s, t_s, side="right"))

    def latest(self, t_s: float) -> int | None:
        """Give the point to be shown at a time of the capture; None before the first, in a gap and after the last."""
        index = self.known(t_s) - 1
        return index if index >= 0 and t_s < self.until_s[index] else None

    def value(self, quantity: str, index: int | None) -> float | None:
        """Give a quantity of a point, SI; None where there is none."""
        if index is None:
            return None
        value = float(self.columns[quantity][index])
        return value if np.isfinite(value) else None

    def shares(self, index: int | None) -> Shares | None:
        """Give where the supply's power goes; None where that is not known."""
        if index is None or not np.isfinite(self.load_share[index]):
            return None
        return Shares(load=float(self.load_share[index]), supply_w=float(self.supply_w[index]))

    def joined(self, index: int) -> bool:
        """Say whether a point follows the one before without a gap."""
        return index > 0 and bool(self.until_s[index - 1] >= self.known_s[index])


def course_of(result: CaptureResult, *, output: str | None = None) -> Course:
    """Order one output's curve by when each point became known.

    Points of ramps and holds stand at the middle of stretches that touch each other; those of bursts at their
    beginning, and they are known when the burst is over.

    Parameters
    ----------
    result : CaptureResult
        Of a ramp, a burst train or a hold.
    output : str or None
        Output of the amplifier; the first one when left out.

    Raises
    ------
    MissingChannelError
        The capture has no curve, or no such output.
    """
    outputs = list(dict.fromkeys(point.output for point in result.curve))
    if result.duration_s is None or not outputs or (output is not None and output not in outputs):
        raise _without_curve(result, outputs, output)
    chosen = output or outputs[0]
    points = [point for point in result.curve if point.output == chosen]
    begun_s, known_s, until_s = _times(result, points, chosen)
    share, supply_w = _shares(result, points, n_outputs=len(outputs))
    columns = {name: _column(points, name) for name in QUANTITIES}
    return Course(
        kind=result.kind,
        output=chosen,
        duration_s=result.duration_s,
        n_outputs=len(outputs),
        begun_s=begun_s,
        known_s=known_s,
        until_s=until_s,
        columns={name: column for name, column in columns.items() if np.isfinite(column).any()},
        load_share=share,
        supply_w=supply_w,
    )


def _without_curve(result: CaptureResult, outputs: list[str], output: str | None) -> MissingChannelError:
    if outputs and output is not None:
        return MissingChannelError(
            f"{result.file} has no output {output}.",
            why=f"it has {', '.join(outputs)}",
            hint=f"Ask for output {outputs[0]}.",
        )
    return MissingChannelError(
        f"{result.file} has nothing that grows with time.",
        why=f"it was measured as a whole ({result.kind}), not in pieces",
        hint="Choose a ramp, a burst train or a hold.",
    )


def _column(points: list[CurvePoint], name: str) -> Real:
    values = [getattr(point, name) for point in points]
    return np.array([np.nan if value is None else value for value in values], dtype=np.float64)


def _times(result: CaptureResult, points: list[CurvePoint], output: str) -> tuple[Real, Real, Real]:
    at_s = np.array([point.t_s for point in points])
    if result.kind == "burst":
        length = result.figure("burst_duration", output)
        begun_s, known_s = at_s, at_s + (0.0 if length is None else length.value)
        apart_s = float(np.median(np.diff(at_s))) if at_s.size > 1 else np.inf
        # the last burst stays what is known last until another would be over
        return begun_s, known_s, np.append(known_s[1:], known_s[-1] + apart_s)
    apart_s = float(np.median(np.diff(at_s))) if at_s.size > 1 else 2 * float(at_s[0])
    begun_s, known_s = at_s - apart_s / 2, at_s + apart_s / 2
    gone_s = known_s + GAP * apart_s
    following = np.append(known_s[1:], np.inf)
    return begun_s, known_s, np.where(following <= gone_s, following, known_s + apart_s)


def _shares(result: CaptureResult, points: list[CurvePoint], *, n_outputs: int) -> tuple[Real, Real]:
    supply_w = _column(points, "supply_power")
    share = _column(points, "efficiency")
    if not np.isfinite(share).any():
        share = _all_loads_w(result, points, n_outputs=n_outputs) / np.where(supply_w > 0, supply_w, np.nan)
    told = (share >= 0) & (share <= 1) & (supply_w > 0)
    return np.where(told, share, np.nan), supply_w


def _all_loads_w(result: CaptureResult, points: list[CurvePoint], *, n_outputs: int) -> Real:
    """Sum the loads' powers of equal moments, W; NaN where an output has no point at that moment."""
    totals: dict[float, list[float]] = {}
    for point in result.curve:
        if point.load_power is not None:
            totals.setdefault(point.t_s, []).append(point.load_power)
    found = [totals.get(point.t_s, []) for point in points]
    return np.array([sum(powers) if len(powers) == n_outputs else np.nan for powers in found])
