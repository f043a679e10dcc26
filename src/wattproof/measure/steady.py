"""Figures of a constant tone, for every output, and of the supply behind them."""

import numpy as np
from numpy.typing import NDArray

from wattproof.errors import MeasureError, Notice
from wattproof.measure.distortion import distortion_figures
from wattproof.measure.findings import Findings, joined
from wattproof.measure.level import gain_figures, level_figures
from wattproof.measure.output import SteadyOutput, fit_output
from wattproof.measure.power import load_power, power_figures
from wattproof.measure.record import BenchRecord
from wattproof.measure.sanity import line_notices, power_notices, tone_notices
from wattproof.measure.supply import supply_findings
from wattproof.measure.views import CYCLES_SHOWN, steady_views, supply_views

Real = NDArray[np.float64]


def measure_steady(record: BenchRecord) -> Findings:
    """Measure a constant tone: every figure the channels allow, for every output, and the supply's side.

    Raises
    ------
    NoToneError, TooFewCyclesError
        No output holds a tone that can be measured.
    """
    samples = record.recording.read().samples
    parts, outputs, silent = [], [], []
    for name in record.outputs:
        try:
            outputs.append(fit_output(record, samples, name))
        except MeasureError as error:
            silent.append(error)
            parts.append(Findings(warnings=(_silent_notice(name, error),)))
    if not outputs and silent:
        raise silent[0]
    parts += [_output_findings(output) for output in outputs]
    parts.append(_supply_side(record, outputs, samples) if outputs else supply_findings(record, samples))
    return joined(parts)


def _supply_side(record: BenchRecord, outputs: list[SteadyOutput], samples: Real) -> Findings:
    fit = outputs[0].fit
    powers = [power for power in map(load_power, outputs) if power is not None]
    found = supply_findings(
        record,
        samples,
        frequency_hz=fit.frequency_hz,
        load_powers=powers if len(powers) == len(outputs) else (),
        conditions=outputs[0].conditions(),
    )
    shown = round(CYCLES_SHOWN * fit.rate_hz / fit.frequency_hz)
    return joined([found, Findings(views=supply_views(record, samples, shown=shown))])


def _silent_notice(name: str, error: MeasureError) -> Notice:
    return Notice(code=error.code, message=f"Channel {name}: {error.message} ({error.why})", hint=error.hint)


def _output_findings(output: SteadyOutput) -> Findings:
    figures = [*level_figures(output), *distortion_figures(output), *power_figures(output), *gain_figures(output)]
    warnings = (*tone_notices(output), *power_notices(output, figures), *line_notices(output))
    return Findings(figures=tuple(figures), warnings=warnings, views=steady_views(output))
