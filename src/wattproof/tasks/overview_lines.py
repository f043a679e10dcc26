"""A session as one line of a list: powers on common terms, verdicts counted, a small curve."""

from collections.abc import Iterator, Sequence
from math import log10
from typing import TYPE_CHECKING, Literal

from pydantic import BaseModel, ConfigDict, Field

from wattproof.errors import MeasureError
from wattproof.fit import BehaviourModel
from wattproof.judge import Judged, Subject, Terms, on_terms
from wattproof.measure import CaptureResult, CurvePoint, Figure
from wattproof.tasks.modelling import fitted_to

if TYPE_CHECKING:
    from wattproof.archive import Archive, Session

FORM = "1"
"""What is told in another form is told anew: count up when a line changes."""

WIDE, HIGH = 120, 40
"""The box that small curves are drawn in."""

_POWER_W = (1.0, 5000.0)
_THD_N = (3e-5, 0.3)
"""The ends of every small curve's two logarithmic axes, so that one may be held against another."""

_LEAST_STEP = 4.0
"""Points of a small curve that are nearer to each other are left out."""

_NEAR = 0.08
"""A load that is nearer to one of the common terms than this is called by its name."""

Verdicts = Literal["meets", "falls short", "cannot tell", "depends on how it is read"]
VERDICTS: tuple[Verdicts, ...] = ("meets", "falls short", "cannot tell", "depends on how it is read")


class _Plain(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class OverviewPower(_Plain):
    """The power at 1 % into a load."""

    load_ohm: float
    value: float = Field(description="to sort by, W")
    text: str = Field(description="as printed, with its 95 % interval and unit")
    basis: Literal["measured", "carried by the model", "not on these terms"]
    where: str = Field(default="", description="its own conditions, where it is not on the common terms")


class OverviewCurve(_Plain):
    """Distortion against power into a load, small."""

    load: str
    points: str = Field(description=f"of an SVG polyline in a box of {WIDE} by {HIGH}")


class OverviewLine(_Plain):
    """One line of the list."""

    session: str
    maker: str
    model: str
    day: str = Field(description="ISO 8601")
    bench: str
    note: str
    outputs: int
    loads: tuple[str, ...]
    powers: tuple[OverviewPower, ...]
    verdicts: dict[Verdicts, int] = Field(description="how many ratings; empty: not judged yet")
    curves: tuple[OverviewCurve, ...]

    @property
    def amplifier(self) -> str:
        """Maker and model."""
        return f"{self.maker} {self.model}"

    def power(self, load_ohm: float) -> OverviewPower | None:
        """Give the power into a load."""
        return next((power for power in self.powers if power.load_ohm == load_ohm), None)

    @property
    def judged(self) -> str:
        """The verdicts in words."""
        words = {"meets": "met", "falls short": "fallen short of", "cannot tell": "cannot be told"}
        told = [f"{self.verdicts[one]} {words.get(one, one)}" for one in VERDICTS if self.verdicts.get(one)]
        return ", ".join(told)


def overview_line(store: "Archive", session: "Session") -> OverviewLine:
    """Tell of a session what is stored of it; nothing is measured, judged or kept for it.

    Parameters
    ----------
    store, session
        The session.
    """
    figures = store.read_figures(session)
    void = {one.number for one in store.captures(session) if one.description.void is not None}
    kept = () if figures is None else tuple(one for one in figures.captures if one.number not in void)
    results = tuple(result for one in kept for result in one.results)
    judged = store.read_verdicts(session)
    return OverviewLine(
        session=session.id,
        maker=session.amplifier.maker,
        model=session.amplifier.model,
        day=f"{session.record.started:%Y-%m-%d}",
        bench=session.bench.name,
        note=session.record.note,
        outputs=len(session.amplifier.outputs),
        loads=tuple(dict.fromkeys(one.description.load for one in kept if one.description.load)),
        powers=tuple(_powers(store, session, results)),
        verdicts={} if judged is None else _verdicts(judged),
        curves=tuple(
            OverviewCurve(load=one.description.load or "", points=points)
            for one in kept
            for result in one.results
            if result.kind == "ramp" and (points := _drawn(result.curve))
        ),
    )


def _verdicts(judged: Judged) -> dict[Verdicts, int]:
    """Count ratings by their verdict; a rating that is read in several ways may have several."""
    counts: dict[Verdicts, int] = {}
    for rating in dict.fromkeys(one.rating for one in judged.judgements):
        found = {one.verdict for one in judged.judgements if one.rating == rating and not one.reading.stretched}
        if found:
            verdict: Verdicts = found.pop() if len(found) == 1 else "depends on how it is read"
            counts[verdict] = counts.get(verdict, 0) + 1
    return counts


def _powers(store: "Archive", session: "Session", results: Sequence[CaptureResult]) -> Iterator[OverviewPower]:
    """Give the power at 1 % into each of the common loads: on the common terms, else as it was measured."""
    from wattproof.publish import SITE_LOADS_OHM, SITE_SUPPLY_V, SITE_THD_N

    model = _model(store, session, results)
    subject = Subject(
        name=session.id,
        amplifier=session.amplifier,
        results=results,
        models=() if model is None else (model,),
        bench=session.bench.name,
    )
    terms = Terms(load_ohm=SITE_LOADS_OHM, supply_v=SITE_SUPPLY_V, thd_n=(SITE_THD_N,))
    rows = on_terms(subject, terms=terms).rows if results else ()
    placed = {row.conditions.get("load_ohm"): row.values[0] for row in rows if row.name == "power_at_thd_1"}
    for load_ohm in SITE_LOADS_OHM:
        value = placed.get(load_ohm)
        if value is not None:
            quantity = value.quantity.model_dump(exclude={"budget"})
            figure = Figure(**quantity, name="power_at_thd_1", output=None, origin=value.where)
            yield _power(load_ohm, figure, value.basis)
        elif (found := _as_measured(results, load_ohm)) is not None:
            yield _power(load_ohm, found, "not on these terms")


def _model(store: "Archive", session: "Session", results: Sequence[CaptureResult]) -> BehaviourModel | None:
    """Give the model that is stored, else one fitted for this line; None where the figures hold too little."""
    stored = store.read_model(session)
    if stored is not None:
        return stored
    try:
        return fitted_to(session.amplifier, results)
    except MeasureError:
        return None


def _power(
    load_ohm: float, figure: Figure, basis: Literal["measured", "carried by the model", "not on these terms"]
) -> OverviewPower:
    from wattproof.report import conditions_text, face_value

    kept = {key: value for key, value in figure.conditions.items() if key in {"load_ohm", "supply_v"}}
    return OverviewPower(
        load_ohm=load_ohm,
        value=figure.value,
        text=face_value(figure),
        basis=basis,
        where=conditions_text(kept) if basis == "not on these terms" else "",
    )


def _as_measured(results: Sequence[CaptureResult], load_ohm: float) -> Figure | None:
    """Give the weakest output's power into a load near that; None where none was measured."""
    found = (
        figure
        for result in results
        for figure in result.figures
        if figure.name == "power_at_thd_1" and abs(_ohms(figure) / load_ohm - 1) < _NEAR
    )
    return min(found, key=lambda figure: figure.value, default=None)


def _ohms(figure: Figure) -> float:
    stated = figure.conditions.get("load_ohm")
    return float(stated) if isinstance(stated, int | float) else 0.0


def _drawn(curve: Sequence[CurvePoint]) -> str:
    """Write the points of a small curve: of the first output, from left to right, as few as the eye needs."""
    first = curve[0].output if curve else ""
    drawn: list[tuple[float, float]] = []
    for point in curve:
        if point.output != first or not point.load_power or not point.thd_n or point.load_power < _POWER_W[0]:
            continue
        x, y = WIDE * _share(point.load_power, _POWER_W), HIGH * (1 - _share(point.thd_n, _THD_N))
        if not drawn or x - drawn[-1][0] >= _LEAST_STEP or abs(y - drawn[-1][1]) >= _LEAST_STEP:
            drawn.append((x, y))
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in drawn) if len(drawn) > 1 else ""


def _share(value: float, ends: tuple[float, float]) -> float:
    low, high = (log10(end) for end in ends)
    return min(1.0, max(0.0, (log10(value) - low) / (high - low)))
