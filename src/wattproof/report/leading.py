"""What a page answers first: the figures a buyer asks for, in their order, and where the supply's power went."""

from collections.abc import Sequence
from dataclasses import dataclass

from wattproof.measure import CaptureResult, Condition, Figure
from wattproof.report import words
from wattproof.report.conditions import conditions_text, sized
from wattproof.report.faces import face_name, face_value, is_distortion, remarks, telling_conditions
from wattproof.report.table import output_name, place_name

Steps = tuple[tuple[str, tuple[str, ...]], ...]

_POWERS = ("load_power", "load_power_v2r")
_MEASURED: Steps = (
    ("ramp", ("power_at_thd_1", "power_at_thd_10", "load_voltage_at_thd_1", "load_voltage_at_thd_10")),
    ("hold", ("sustained_power",)),
    ("burst", ("burst_power", "burst_headroom")),
    ("ramp", ("efficiency",)),
    ("hold", ("efficiency",)),
    ("idle", ("idle_current", "noise_rms")),
    ("steady", (*_POWERS, "thd_n", "efficiency")),
)
"""The order in which a buyer asks, by kind of capture."""

_TYPED: Steps = (("readings", (*_POWERS, "thd_n", "efficiency")), ("readings", ("idle_current",)))

_DETAILS = {
    "frame_cycles", "slope_db_per_s", "phase_rad", "harmonics", "outputs_measured", "smoothed_s", "bursts",
    "settled_cycles", "kind", "load",
}  # fmt: skip
"""Conditions of the method, said with the figure's own row and not once more among the first."""

_COMMON = ("frequency_hz", "bandwidth_hz", "basis", "thd_basis")
"""Conditions said once above the figures where all that have them agree; load and supply stand with each figure."""

_UNFILTERED = {*_POWERS, "sustained_power", "burst_power", "burst_headroom", "efficiency", "idle_current"}
"""Powers that the edges of the band do not bear on."""


@dataclass(frozen=True, kw_only=True)
class Leading:
    """Leading figures of one origin: what holds for all, and a row for each."""

    shared: str
    rows: tuple[dict[str, str], ...]


_Chosen = tuple[CaptureResult, Figure]


def leading_measured(results: Sequence[CaptureResult], anchors: dict[int, str]) -> Leading:
    """Give the figures that a buyer asks for first, from recordings."""
    return _leading(results, _MEASURED, anchors)


def leading_typed(results: Sequence[CaptureResult], anchors: dict[int, str]) -> Leading:
    """Give the leading figures that were read from meters: apart, because no recording stands behind them."""
    return _leading(results, _TYPED, anchors)


def _leading(results: Sequence[CaptureResult], steps: Steps, anchors: dict[int, str]) -> Leading:
    chosen = [
        (result, figure)
        for kind, names in steps
        for result in results
        if result.kind == kind
        for name in names
        for figure in result.figures
        if figure.name == name and not _bettered(figure, result)
    ]
    common = _common(chosen)
    rows = tuple(_row(result, figure, common, anchors[id(result)]) for result, figure in chosen)
    return Leading(shared=conditions_text(common), rows=rows)


def _bettered(figure: Figure, result: CaptureResult) -> bool:
    """Say whether a better answer stands beside it: true power, or a power sustained for longer."""
    if figure.name == "load_power_v2r":
        return result.figure("load_power", figure.output) is not None
    return figure.name == "sustained_power" and figure is not _sustained(result, figure.output)[-1]


def _sustained(result: CaptureResult, output: str | None) -> list[Figure]:
    """Give the sustained powers of an output in the order of their times."""
    found = [figure for figure in result.figures if (figure.name, figure.output) == ("sustained_power", output)]
    return sorted(found, key=_time)


def _time(figure: Figure) -> float:
    at_s = figure.conditions.get("at_s")
    return at_s if isinstance(at_s, int | float) else 0.0


def _common(chosen: Sequence[_Chosen]) -> dict[str, Condition]:
    stated = [_conditions(figure) for _, figure in chosen]
    common = {}
    for key in _COMMON:
        values = [conditions[key] for conditions in stated if key in conditions]
        said = {conditions_text({key: value}) for value in values}
        if len(values) > 1 and len(said) == 1:
            common[key] = values[0]
    return common


def _conditions(figure: Figure) -> dict[str, Condition]:
    """Give the conditions without the method's details."""
    skipped = set(_DETAILS)
    skipped |= {"basis", "bandwidth_hz"} if figure.output is None else set()
    skipped |= {"bandwidth_hz"} if figure.name in _UNFILTERED else set()
    skipped |= {"basis"} if is_distortion(figure.name) else set()
    skipped |= {"load_ohm"} if figure.name == "idle_current" else set()
    return {key: value for key, value in telling_conditions(figure).items() if key not in skipped}


def _row(result: CaptureResult, figure: Figure, common: dict[str, Condition], anchor: str) -> dict[str, str]:
    name = face_name(figure)
    own = {key: value for key, value in _conditions(figure).items() if key not in common}
    said = ", ".join(filter(None, (conditions_text(with_supply(result, own)), _supply_doubt(result, own))))
    return {
        "name": f"{name}, {output_name(figure.output)}" if _is_one_of_several(result, figure) else name,
        "value": face_value(figure),
        "said": "; ".join(filter(None, (said, _beside(result, figure), ", ".join(remarks(figure))))),
        "file": place_name(result),
        "anchor": anchor,
    }


def _is_one_of_several(result: CaptureResult, figure: Figure) -> bool:
    outputs = {other.output for other in result.figures} - {None}
    return figure.output is not None and (len(outputs) > 1 or figure.output != "A")


def with_supply(result: CaptureResult, conditions: dict[str, Condition]) -> dict[str, Condition]:
    """Add the mean supply voltage where a figure leaves it out."""
    supply = result.figure("supply_voltage", None)
    return conditions if "supply_v" in conditions or supply is None else {**conditions, "supply_v": supply.value}


def _supply_doubt(result: CaptureResult, conditions: dict[str, Condition]) -> str:
    return "" if "supply_v" in with_supply(result, conditions) else words.PAGE["no_supply"]


def _beside(result: CaptureResult, figure: Figure) -> str:
    """Say the power that a distortion belongs to, what a sustained power was at first, how long a mean is."""
    if figure.name == "thd_n":
        power = result.figure("load_power", figure.output) or result.figure("load_power_v2r", figure.output)
        return words.PAGE["at_power"].format(sized(power.value, power.unit)) if power else ""
    if (figure.name, result.kind) == ("efficiency", "hold") and result.duration_s is not None:
        return words.PAGE["mean_over"].format(sized(result.duration_s, "s"))
    first = _sustained(result, figure.output)[0] if figure.name == "sustained_power" else figure
    if first is figure:
        return ""
    return words.PAGE["at_first"].format(face_value(first), conditions_text({"at_s": _time(first)}))


def strip(result: CaptureResult) -> dict[str, object] | None:
    """Part the supply's power into what reached the loads, as their powers or the efficiency tell it, and heat."""
    supply, heat = result.figure("supply_power", None), result.figure("heat", None)
    loads = [figure for figure in result.figures if figure.name == "load_power"]
    shares = loads or [figure for figure in result.figures if figure.name == "efficiency"][:1]
    if not (supply and heat and shares and all(figure.value > 0 for figure in (supply, heat, *shares))):
        return None
    parts = [
        {
            "look": f"load-{1 + number % 2}",
            "width": share.value if loads else share.value * supply.value,
            "text": _share_text(share, supply),
            "name": _load_name(share, loads),
        }
        for number, share in enumerate(shares)
    ]
    name, text = words.PAGE["heat"], _share_text(heat, supply)
    parts.append({"look": "heat", "width": heat.value, "text": text, "name": name})
    conditions = conditions_text(with_supply(result, _conditions(supply)))
    kind = words.KINDS[result.kind]
    return {
        "heading": words.PAGE["strip_heading"].format(face_value(supply)),
        "told": ", ".join(filter(None, (place_name(result), kind, conditions))),
        "parts": parts,
    }


def _share_text(share: Figure, supply: Figure) -> str:
    """Say a share of the supply's power in watts and in per cent; the one that was measured has its interval."""
    if share.unit == supply.unit:
        return f"{face_value(share)}, {100 * share.value / supply.value:.1f} %"
    return f"{sized(share.value * supply.value, supply.unit)}, {face_value(share)}"


def _load_name(load: Figure, loads: Sequence[Figure]) -> str:
    return f"{words.PAGE['load']} {load.output}" if len(loads) > 1 else words.PAGE["load"]
