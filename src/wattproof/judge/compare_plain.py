"""Figures that no model carries: compared as they stand where their conditions agree, refused where they do not."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import exp, log, sqrt

from wattproof.judge.compare_model import Terms
from wattproof.judge.compare_points import Side, condition, supply_of
from wattproof.judge.compare_power import NEAR, Placed, Refusal, joined
from wattproof.measure import CaptureResult, Condition, Figure

MATTERS = 0.5
"""A figure that goes with a lesser power of a condition is compared where that condition was not recorded."""


@dataclass(frozen=True, kw_only=True)
class Plain:
    """A figure and what it depends on.

    Attributes
    ----------
    steepest : mapping of condition to float
        It goes at most with this power of the condition.
    within : mapping of condition to float
        These may differ by no more than this factor.
    same : tuple of str
        These, where stated, must be the same.
    by_controls : bool
        It depends on where the controls stood.
    kind : str
        Taken from captures of this kind only; empty: from any.
    remedy : str
        How it is measured.
    """

    name: str
    steepest: Mapping[str, float] = field(default_factory=dict)
    within: Mapping[str, float] = field(default_factory=dict)
    same: tuple[str, ...] = ()
    by_controls: bool = False
    kind: str = ""
    remedy: str = "Measure it in all sessions."


PLAIN = (
    Plain(name="idle_current", steepest={"supply_v": 1.0}, remedy="Capture the supply without a signal."),
    Plain(name="gain", steepest={"load_ohm": 0.05}, within={"frequency_hz": 1.25}, by_controls=True),
    Plain(name="noise_rms", same=("weighting", "bandwidth_hz"), by_controls=True, kind="idle"),
    Plain(name="noise_rms_a", same=("weighting",), by_controls=True, kind="idle"),
    Plain(name="output_resistance", within={"frequency_hz": 1.25}),
    Plain(name="damping_factor", steepest={"load_ohm": 1.0}, within={"frequency_hz": 1.25}),
)
SUSTAINED = Plain(
    name="sustained_power",
    steepest={"load_ohm": 1.0, "supply_v": 2.0},
    within={"frequency_hz": 1.25, "level": 1.1},
    same=("at_s",),
    remedy="Capture a hold.",
)


@dataclass(frozen=True, kw_only=True)
class Candidate:
    """A session's figure, output by output, with the conditions that count."""

    side: Side
    figures: tuple[Figure, ...]
    conditions: Mapping[str, float]

    def stated(self, key: str) -> dict[str, Condition]:
        """Give a condition to three figures; nothing where it is not stated."""
        return {key: float(f"{self.conditions[key]:.3g}")} if key in self.conditions else {}


def candidates(sides: Sequence[Side], plain: Plain, terms: Terms, *, at_s: float | None = None) -> list[Candidate]:
    """Find each session's figures of a name, for each output the one nearest to the terms; some have none."""
    found = []
    for side in sides:
        pairs = [
            (result, figure)
            for result, figure in side.figures(plain.name)
            if plain.kind in {"", result.kind} and (at_s is None or condition(figure, "at_s") == at_s)
        ]
        nearest = _nearest(pairs, plain, terms)
        if nearest:
            stated = _stated(*nearest[0], plain) | _level(side, *nearest[0])
            found.append(Candidate(side=side, figures=tuple(figure for _, figure in nearest), conditions=stated))
    return found


def plain_on_terms(one: Candidate, others: Sequence[Candidate], plain: Plain) -> Placed | Refusal:
    """Take a figure as it stands, with what small differences of its conditions may do; or say how they differ."""
    refused = _unlike(one, others, plain) or (_controls(one, others) if plain.by_controls else None)
    if refused is not None:
        return refused
    effect = 0.0
    for key, power in plain.steepest.items():
        known = [other.conditions[key] for other in others if key in other.conditions]
        if len(others) > 1 and key not in one.conditions and power >= MATTERS:
            return Refusal(why=f"its {_words(key)} was not recorded", hint=f"Record the {_words(key)} beside it.")
        if known and key in one.conditions:
            middle = exp(sum(log(value) for value in known) / len(known))
            effect += power * abs(log(one.conditions[key] / middle))
    if effect > NEAR:
        listed = ", ".join(f"{_said(other, plain)} in {other.side.name}" for other in others)
        return Refusal(
            why=f"the conditions differ: {listed}; that may move it by {100 * effect:.2g} %, and no model carries it",
            hint="Measure it under the same conditions in all sessions.",
        )
    side = one.side
    unlike = side.doubt(
        f"{one.figures[0].origin} {plain.name}: taken as alike", effect / sqrt(3), label="conditions not quite alike"
    )
    return joined([Placed(number=side.restored(figure) * (1 + unlike), where=figure.origin) for figure in one.figures])


def _nearest(
    pairs: Sequence[tuple[CaptureResult, Figure]], plain: Plain, terms: Terms
) -> list[tuple[CaptureResult, Figure]]:
    wanted = {"load_ohm": terms.load_ohm[0] if terms.load_ohm else None, "supply_v": terms.supply_v}

    def away(pair: tuple[CaptureResult, Figure]) -> float:
        stated = _stated(*pair, plain)
        return sum(
            abs(log(stated[key] / value)) if key in stated else 1.0
            for key, value in wanted.items()
            if value is not None and key in plain.steepest
        )

    outputs = dict.fromkeys(figure.output for _, figure in pairs)
    return [min((pair for pair in pairs if pair[1].output == output), key=away) for output in outputs]


def _stated(result: CaptureResult, figure: Figure, plain: Plain) -> dict[str, float]:
    stated = {key: condition(figure, key) for key in (*plain.steepest, *plain.within)}
    if "supply_v" in stated:
        stated["supply_v"] = supply_of(result, figure)
    return {key: value for key, value in stated.items() if value is not None and value > 0}


def _level(side: Side, result: CaptureResult, figure: Figure) -> dict[str, float]:
    """How hard a hold was driven when it began: its first power over the session's own power at a limit."""
    load_ohm = condition(figure, "load_ohm")
    if figure.name != SUSTAINED.name or load_ohm is None:
        return {}
    held = [one for one in result.figures if one.name == figure.name and one.output == figure.output]
    first = min(held, key=lambda one: condition(one, "at_s") or 0.0)
    limits = [
        (point.thd_n, point.figure.value)
        for point in side.points
        if point.output == figure.output and point.thd_n and point.load_ohm and abs(point.load_ohm / load_ohm - 1) < 0.1
    ]
    return {"level": first.value / min(limits)[1]} if limits else {}


def _unlike(one: Candidate, others: Sequence[Candidate], plain: Plain) -> Refusal | None:
    for key, factor in plain.within.items():
        if key == "level" and key not in one.conditions:
            return Refusal(
                why="how hard it was held is not known: the session has no power at a limit into this load",
                hint="Measure a ramp into the load of the hold.",
            )
        known = [other.conditions[key] for other in others if key in other.conditions]
        if known and max(known) / min(known) > factor:
            listed = " and ".join(f"{value:.3g}{_UNITS.get(key, '')}" for value in known)
            return Refusal(
                why=f"its {_words(key)} differs: {listed}; what that makes of it is not known",
                hint=f"Measure it at one {_words(key)} in all sessions.",
            )
    mine = one.figures[0].conditions
    for key in plain.same:
        theirs = [other.figures[0].conditions.get(key) for other in others]
        if any(key in mine and value is not None and not _equal(value, mine[key]) for value in theirs):
            listed = " and ".join(str(value) for value in dict.fromkeys(theirs))
            return Refusal(
                why=f"its {_words(key)} differs: {listed}", hint=f"Measure it with one {_words(key)} in all sessions."
            )
    return None


def _equal(one: object, other: object) -> bool:
    """Say whether two conditions are the same; edges of a band may differ by a twentieth."""
    if isinstance(one, tuple) and isinstance(other, tuple) and len(one) == len(other):
        return all(abs(a - b) <= 0.05 * max(abs(a), abs(b)) for a, b in zip(one, other, strict=True))
    return one == other


def _controls(one: Candidate, others: Sequence[Candidate]) -> Refusal | None:
    mine = one.side.subject.amplifier.controls
    for other in others:
        theirs = other.side.subject.amplifier.controls
        for name in mine.keys() & theirs.keys():
            if mine[name] != theirs[name]:
                return Refusal(
                    why=f'the control "{name}" stood at {mine[name]} in {one.side.name} and at {theirs[name]} in '
                    f"{other.side.name}",
                    hint="Measure it with the controls in the same positions.",
                )
    return None


def _said(one: Candidate, plain: Plain) -> str:
    return ", ".join(f"{one.conditions[key]:.4g}{_UNITS[key]}" for key in plain.steepest if key in one.conditions)


_UNITS = {"load_ohm": " ohm", "supply_v": " V", "frequency_hz": " Hz", "level": " of its power at the limit"}
_WORDS = {
    "load_ohm": "load",
    "supply_v": "supply voltage",
    "frequency_hz": "frequency",
    "at_s": "time",
    "bandwidth_hz": "band",
    "level": "level when the hold began",
}


def _words(key: str) -> str:
    return _WORDS.get(key, key)
