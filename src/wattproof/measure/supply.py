"""The supply's side of any capture: power drawn, sag, ripple, efficiency, heat, and the source's resistance."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wattproof.dsp import fit_at
from wattproof.errors import Notice
from wattproof.measure.findings import Findings
from wattproof.measure.model import Condition, Figure
from wattproof.measure.record import BenchRecord, Track
from wattproof.quantity.ledger import Uncertain

Real = NDArray[np.float64]

SMOOTHING_CYCLES = 0.01
"""The lowest supply voltage is that of a mean over this share of a cycle: a single noisy sample is no sag."""

RIPPLE_OVER_NOISE = 20.0
"""The source's resistance is read from ripple only where the current's ripple stands this far out of its noise."""

SMALLEST_RIPPLE = 1e-3
"""... and is this share of the mean current at least."""


@dataclass(frozen=True, kw_only=True, eq=False)
class SupplySide:
    """Supply voltage and current over one span of whole cycles, engineering units, shape (N,); either may be absent."""

    record: BenchRecord
    volts: Real | None
    amps: Real | None
    cycle_samples: float | None

    @property
    def volt_track(self) -> Track | None:
        """Track of the supply voltage."""
        return self.record.track("supply_voltage")

    @property
    def amp_track(self) -> Track | None:
        """Track of the supply current."""
        return self.record.track("supply_current")

    def voltage(self) -> Uncertain | None:
        """Mean voltage, V."""
        return self._mean(self.volts, self.volt_track)

    def current(self) -> Uncertain | None:
        """Mean current, A."""
        return self._mean(self.amps, self.amp_track)

    def _mean(self, values: Real | None, track: Track | None) -> Uncertain | None:
        if values is None or track is None:
            return None
        u, dof = scatter_of_mean(values, self.cycle_samples)
        return self.record.reading(track, float(values.mean()), u=u, dof=dof, label="scatter")

    def power(self) -> Uncertain | None:
        """Mean of v*i, W: never the product of the means, which ripple falsifies by -cov(v, i)."""
        volt_track, amp_track = self.volt_track, self.amp_track
        if self.volts is None or self.amps is None or volt_track is None or amp_track is None:
            return None
        record = self.record
        watts = float(np.dot(self.volts, self.amps)) / self.volts.size
        mean_v, mean_i = float(self.volts.mean()), float(self.amps.mean())
        u, dof = scatter_of_mean(self.volts * self.amps, self.cycle_samples)
        read_v = watts - volt_track.calibration.offset * mean_i
        read_i = watts - amp_track.calibration.offset * mean_v
        return (
            record.observed("scatter of supply power", watts, u, dof=dof, label="scatter of supply power")
            + read_v * (record.gain_factor(volt_track) - 1)
            + read_i * (record.gain_factor(amp_track) - 1)
            + mean_i * record.offset_error(volt_track)
            + mean_v * record.offset_error(amp_track)
        )


def scatter_of_mean(values: Real, cycle_samples: float | None) -> tuple[float, float]:
    """Judge a record's mean: standard uncertainty and degrees of freedom from the means of 4 to 16 like pieces.

    Whole cycles a piece, so that ripple does not count as scatter; a record too short for four such pieces is judged
    by what its samples scatter, ripple and all, which is too much rather than too little.
    """
    cycle = 1.0 if cycle_samples is None else cycle_samples
    pieces = int(min(16, values.size // max(cycle, 1)))
    if pieces < 4:
        return float(values.std(ddof=1) / np.sqrt(values.size)) if values.size > 1 else 0.0, max(values.size - 1, 1)
    length = round(int(values.size / pieces / cycle) * cycle)
    means = values[: pieces * length].reshape(pieces, length).mean(axis=1)
    return float(means.std(ddof=1) / np.sqrt(pieces)), pieces - 1


def side_of(record: BenchRecord, samples: Real, *, frequency_hz: float | None) -> SupplySide:
    """Cut the supply's tracks to whole cycles (the nearest sample), file samples of shape (n_channels, N)."""
    rate_hz = record.recording.rate_hz
    cycle = None if frequency_hz is None else rate_hz / frequency_hz
    stop = samples.shape[1] if cycle is None else round(int(samples.shape[1] / cycle) * cycle)

    def cut(role: str) -> Real | None:
        track = record.track(role)
        return None if track is None else record.values(track, samples[:, :stop])

    return SupplySide(record=record, volts=cut("supply_voltage"), amps=cut("supply_current"), cycle_samples=cycle)


def supply_findings(
    record: BenchRecord,
    samples: Real,
    *,
    frequency_hz: float | None,
    load_powers: Sequence[Uncertain] = (),
    conditions: dict[str, Condition] | None = None,
) -> Findings:
    """Measure the supply's side of a span.

    Parameters
    ----------
    record : BenchRecord
    samples : Real of shape (n_channels, N), file units
    frequency_hz : float or None
        The tone, so that whole cycles are taken; None for an idle record.
    load_powers : sequence of uncertain numbers, W
        Power into each measured load; without one there is neither efficiency nor heat.
    conditions : dict
        Conditions common to the figures.
    """
    side = side_of(record, samples, frequency_hz=frequency_hz)
    common = dict(conditions or {})
    figures = _level_figures(side, common)
    power = side.power()
    notices: list[Notice] = []
    if power is not None:
        figures.append(record.figure("supply_power", power, "W", output=None, conditions={**common, "basis": "v*i"}))
        if load_powers:
            figures += _efficiency_figures(record, power, load_powers, common)
            notices += _efficiency_notices(figures)
    if frequency_hz is not None and side.volts is not None and side.amps is not None:
        found, told = _source_resistance(side, frequency_hz, common)
        figures += found
        notices += told
    return Findings(figures=tuple(figures), warnings=tuple(notices))


def _level_figures(side: SupplySide, common: dict[str, Condition]) -> list[Figure]:
    record, figures = side.record, []
    voltage, current = side.voltage(), side.current()
    if voltage is not None and side.volts is not None and side.volt_track is not None:
        figures.append(record.figure("supply_voltage", voltage, "V", output=None, conditions=common))
        lowest = _smoothed_minimum(side.volts, side.cycle_samples)
        low = record.reading(side.volt_track, lowest, u=0.0, dof=1, label="minimum")
        figures.append(record.figure("supply_voltage_min", low, "V", output=None, conditions=common))
        ripple = float(side.volts.std()) * record.gain_factor(side.volt_track)
        figures.append(record.figure("supply_ripple_rms", ripple, "V", output=None, conditions=common))
    if current is not None:
        figures.append(record.figure("supply_current", current, "A", output=None, conditions=common))
    return figures


def _smoothed_minimum(volts: Real, cycle_samples: float | None) -> float:
    width = max(1, round(SMOOTHING_CYCLES * cycle_samples)) if cycle_samples else 1
    if width == 1 or volts.size <= width:
        return float(volts.min())
    total = np.concatenate([[0.0], np.cumsum(volts)])
    return float((total[width:] - total[:-width]).min() / width)


def _efficiency_figures(
    record: BenchRecord, power: Uncertain, load_powers: Sequence[Uncertain], common: dict[str, Condition]
) -> list[Figure]:
    delivered: Uncertain = 0.0
    for watts in load_powers:
        delivered = delivered + watts
    driven: dict[str, Condition] = {**common, "outputs_measured": len(load_powers)}
    return [
        record.figure("efficiency", delivered / power, "W/W", output=None, conditions=driven),
        record.figure("heat", power - delivered, "W", output=None, conditions=driven),
    ]


def _efficiency_notices(figures: Sequence[Figure]) -> list[Notice]:
    efficiency = next(figure for figure in figures if figure.name == "efficiency")
    if efficiency.value <= 1:
        return []
    return [
        Notice(
            code="efficiency-over-1",
            message=f"The efficiency comes out as {efficiency.value:.1%}: more leaves the amplifier than enters it.",
            hint="Check the scales of the four channels against a meter, the load's resistance, "
            "and that the supply current is taken before any storage on the bench.",
            numbers={"efficiency": efficiency.value, "u": efficiency.u},
        )
    ]


def _source_resistance(
    side: SupplySide, frequency_hz: float, common: dict[str, Condition]
) -> tuple[list[Figure], list[Notice]]:
    """Source resistance from the strongest line of the current's ripple: R = -Re(V/I) there."""
    record, volts, amps = side.record, side.volts, side.amps
    assert volts is not None and amps is not None and side.volt_track and side.amp_track  # noqa: S101, PT018
    rate_hz = record.recording.rate_hz
    fit = fit_at(np.stack([volts, amps]), rate_hz=rate_hz, frequency_hz=frequency_hz, n_harmonics=4)
    strongest = int(np.argmax(np.abs(fit.phasors[1])))
    ripple_v, ripple_i = fit.phasors[:, strongest]
    u_v, u_i = fit.amplitude_u
    smallest = SMALLEST_RIPPLE * abs(float(amps.mean()))
    if np.abs(ripple_i) < max(RIPPLE_OVER_NOISE * u_i, smallest) or np.abs(ripple_v) < 3 * u_v:
        return [], []
    ratio = -(ripple_v / ripple_i).real
    if ratio < 0:
        return [], [_rising_notice(float(np.abs(ripple_v)), float(np.abs(ripple_i)))]
    u = float(np.hypot(u_v, ratio * u_i) / np.abs(ripple_i))
    number = record.observed("source resistance", ratio, u, dof=fit.dof, label="noise on the ripple")
    number = number * record.gain_factor(side.volt_track) / record.gain_factor(side.amp_track)
    extra: dict[str, Condition] = {**common, "ripple_hz": round((strongest + 1) * frequency_hz, 3)}
    return [record.figure("source_resistance", number, "ohm", output=None, conditions=extra)], []


def _rising_notice(volts: float, amps: float) -> Notice:
    return Notice(
        code="supply-rises",
        message=f"The supply voltage rises ({volts:.3g} V) while the supply current rises ({amps:.3g} A).",
        hint="One of the two supply channels is probably reversed, or skewed by a good part of a cycle.",
        numbers={"ripple_v": volts, "ripple_a": amps},
    )
