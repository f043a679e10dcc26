"""The few figures of a finished step that one wants to see at once."""

from collections.abc import Mapping

from wattproof.measure import CaptureResult
from wattproof.plan import StepKind
from wattproof.run.events import FigureSeen

LEADING: Mapping[StepKind, tuple[str, ...]] = {
    "floor": ("noise_rms",),
    "idle": ("idle_current", "noise_rms", "dc_offset"),
    "gain": ("gain", "thd_n", "noise_rms"),
    "ramp": ("power_at_clip_onset", "power_at_thd_1", "power_at_thd_10", "efficiency", "source_resistance"),
    "burst": ("burst_power", "burst_headroom", "supply_voltage_min"),
    "hold": ("sustained_power", "efficiency", "heat", "supply_voltage_min"),
}
"""Names of figures, or how they begin, in the order they are shown."""

MOST = 8


def leading_figures(result: CaptureResult, kind: StepKind) -> tuple[FigureSeen, ...]:
    """Choose what to show of a capture.

    Parameters
    ----------
    result : CaptureResult
    kind : StepKind
        Of the step.
    """
    chosen = [
        FigureSeen.model_validate(figure.model_dump(include=set(FigureSeen.model_fields)))
        for name in LEADING[kind]
        for figure in result.figures
        if figure.name == name or (name == "sustained_power" and figure.name.startswith(name))
    ]
    return tuple(chosen[:MOST])
