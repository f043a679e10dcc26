"""The supply's side of any capture: power drawn, sag, ripple, efficiency, heat, and the source's resistance."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from wattproof.dsp import FEWEST_CYCLES, ToneFit, fit_at
from wattproof.errors import Notice
from wattproof.measure.findings import Findings
from wattproof.measure.model import Condition, Figure
from wattproof.measure.pieces import FEWEST_PIECES, scatter_of_mean
from wattproof.measure.record import BenchRecord, Track
from wattproof.quantity import Uncertain

Real = NDArray[np.float64]

SHORT_CYCLES = 100
"""Of fewer cycles the means come from a fit."""

SMOOTHING_CYCLES = 0.01
"""The lowest supply voltage is that of a mean over this share of a cycle: a single noisy sample is no sag."""

RIPPLE_OVER_NOISE = 20.0
"""The source's resistance is read from ripple only where the current's ripple stands this far out of its noise."""

SMALLEST_RIPPLE = 1e-3
"""... and is this share of the mean current at least."""


@dataclass(frozen=True, kw_only=True, eq=False)
class SupplySide:
    """Supply voltage and current over one span, engineering units, shape (N,); either may be absent.

    Of many cycles, means are plain means over whole cycles. Of few, the part of a sample by which whole cycles miss the
    clock would show (0.1 % of the ripple at three cycles of 997 Hz), so the mean is that of a joint fit.
    """

    record: BenchRecord
    volts: Real | None
    amps: Real | None
    frequency_hz: float | None

    @property
    def volt_track(self) -> Track | None:
        """Track of the supply voltage."""
        return self.record.track("supply_voltage")

    @property
    def amp_track(self) -> Track | None:
        """Track of the supply current."""
        return self.record.track("supply_current")

    @property
    def cycle_samples(self) -> float | None:
        """Length of a cycle of the tone, samples."""
        return None if self.frequency_hz is None else self.record.recording.rate_hz / self.frequency_hz

    @cached_property
    def waves(self) -> dict[str, Real]:
        """Volts, amperes and their product, as far as they are recorded."""
        waves = {name: wave for name, wave in (("V", self.volts), ("A", self.amps)) if wave is not None}
        return {**waves, "W": waves["V"] * waves["A"]} if len(waves) == 2 else waves

    @cached_property
    def ripple(self) -> ToneFit | None:
        """Joint fit of the ripple in all `waves`; None without a tone, or without three cycles of it."""
        rate_hz, hz = self.record.recording.rate_hz, self.frequency_hz
        waves = list(self.waves.values())
        if hz is None or not waves or waves[0].size * hz / rate_hz < FEWEST_CYCLES * (1 - 1e-6):
            return None
        # of a long record only the source's resistance is read from it
        few = waves[0].size * hz / rate_hz < SHORT_CYCLES
        kept = np.stack(waves if few else waves[:2])
        return fit_at(kept, rate_hz=rate_hz, frequency_hz=hz, n_harmonics=20 if few else 4)

    @property
    def fitted(self) -> ToneFit | None:
        """The fit whose means are taken, where the record holds few cycles."""
        return None if self.ripple is None or self.ripple.cycles >= SHORT_CYCLES else self.ripple

    def mean(self, name: str) -> tuple[float, float, float]:
        """Mean of one of the `waves`, its standard uncertainty, and the degrees of freedom of that."""
        values, fit = self.waves[name], self.fitted
        if fit is None:
            return (float(values.mean()), *scatter_of_mean(values, self.cycle_samples))
        row = list(self.waves).index(name)
        spread = float(np.sqrt(fit.residual_ms[row] / fit.n_samples)), float(fit.dof)
        if self.cycle_samples is not None and fit.cycles >= FEWEST_PIECES:
            # the harmonics taken off, the slow part left in: what wanders from cycle to cycle is to count
            tau = np.linspace(-1, 1, fit.n_samples)
            slow = fit.residual(values, row) + np.polynomial.polynomial.polyval(tau, fit.drift[row])
            spread = scatter_of_mean(slow, self.cycle_samples)
        return (float(fit.dc[row]), *spread)

    def voltage(self) -> Uncertain | None:
        """Mean voltage, V."""
        return None if self.volt_track is None or self.volts is None else self._reading("V", self.volt_track)

    def current(self) -> Uncertain | None:
        """Mean current, A."""
        return None if self.amp_track is None or self.amps is None else self._reading("A", self.amp_track)

    def _reading(self, name: str, track: Track) -> Uncertain:
        value, u, dof = self.mean(name)
        return self.record.reading(track, value, u=u, dof=dof, label="scatter")

    def power(self) -> Uncertain | None:
        """Mean of v*i, W: never the product of the means, which ripple falsifies by -cov(v, i)."""
        if self.volt_track is None or self.amp_track is None or "W" not in self.waves:
            return None
        watts, u, dof = self.mean("W")
        noise = self.record.observed("scatter of supply power", 0.0, u, dof=dof, label="scatter of supply power")
        mean_v, mean_i = self.mean("V")[0], self.mean("A")[0]
        skewed = self._skewed_w(self.volt_track, self.amp_track)
        return noise + supply_power(self.record, watts=watts + skewed, mean_v=mean_v, mean_a=mean_i)

    def _skewed_w(self, volts: Track, amps: Track) -> float:
        """Power that the skew between the channels has hidden in the ripple, W; the means know no skew."""
        skew_s = volts.calibration.skew_s - amps.calibration.skew_s
        if skew_s == 0 or self.ripple is None:
            return 0.0
        v, i = self.ripple.phasors[:2]
        turn = np.exp(2j * np.pi * self.ripple.frequency_hz * np.arange(1, v.size + 1) * skew_s)
        return float((v * i.conj() * (turn - 1)).real.sum() / 2)


def supply_power(record: BenchRecord, *, watts: float, mean_v: float, mean_a: float) -> Uncertain:
    """Give a mean of v*i its calibrations' doubt, W.

    A scale's doubt acts on what was read, not on the offset added to it; an offset's on the other channel's mean.

    Parameters
    ----------
    record : BenchRecord
    watts, mean_v, mean_a : float
        Means of v*i, v and i over the same span.
    """
    volts, amps = record.track("supply_voltage"), record.track("supply_current")
    if volts is None or amps is None:
        return watts
    read_v = watts - volts.calibration.offset * mean_a
    read_i = watts - amps.calibration.offset * mean_v
    return (
        watts
        + read_v * (record.gain_factor(volts) - 1)
        + read_i * (record.gain_factor(amps) - 1)
        + mean_a * record.offset_error(volts)
        + mean_v * record.offset_error(amps)
    )


def side_of(record: BenchRecord, samples: Real, *, frequency_hz: float | None) -> SupplySide:
    """Cut the supply's tracks to whole cycles (the nearest sample), file samples of shape (n_channels, N)."""
    rate_hz = record.recording.rate_hz
    cycle = None if frequency_hz is None else rate_hz / frequency_hz
    few = cycle is not None and samples.shape[1] < SHORT_CYCLES * cycle
    stop = samples.shape[1] if cycle is None or few else round(int(samples.shape[1] / cycle) * cycle)

    def cut(role: str) -> Real | None:
        track = record.track(role)
        return None if track is None else record.values(track, samples[:, :stop])

    return SupplySide(record=record, volts=cut("supply_voltage"), amps=cut("supply_current"), frequency_hz=frequency_hz)


def supply_findings(
    record: BenchRecord,
    samples: Real,
    *,
    frequency_hz: float | None = None,
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
    # nothing is filtered here: DC and all that the recorder lets through count
    band: Condition = (0.0, record.recording.rate_hz / 2)
    common: dict[str, Condition] = {**(conditions or {}), "bandwidth_hz": band}
    figures = _level_figures(side, common)
    power = side.power()
    notices: list[Notice] = []
    if power is not None:
        figures.append(record.figure("supply_power", power, "W", output=None, conditions={**common, "basis": "v*i"}))
        if float(side.mean("W")[0]) <= 0:
            notices.append(_drawn_notice(side.mean("W")[0]))
        elif load_powers:
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
        figures.append(_minimum_figure(side, side.volts, side.volt_track, common))
        figures.append(_ripple_figure(side, side.volts, side.volt_track, common))
    if current is not None:
        figures.append(record.figure("supply_current", current, "A", output=None, conditions=common))
    return figures


def _minimum_figure(side: SupplySide, volts: Real, track: Track, common: dict[str, Condition]) -> Figure:
    width = smoothing_width(side.cycle_samples)
    lowest = _smoothed_minimum(volts, width)
    # of many noisy means the lowest lies about sqrt(2 ln n) sigma under the true trough
    sigma = 0.0 if side.ripple is None else float(np.sqrt(side.ripple.residual_ms[0] / width))
    u = sigma * float(np.sqrt(2 * np.log(max(volts.size / width, 2.0))))
    low = side.record.reading(track, lowest, u=u, dof=volts.size, label="noise at the minimum")
    extra: dict[str, Condition] = {**common, "smoothed_s": width / side.record.recording.rate_hz}
    return side.record.figure("supply_voltage_min", low, "V", output=None, conditions=extra)


def _ripple_figure(side: SupplySide, volts: Real, track: Track, common: dict[str, Condition]) -> Figure:
    fit, record = side.fitted, side.record
    ripple = float(volts.std())
    if fit is not None:
        ripple = float(np.sqrt((np.abs(fit.phasors[0]) ** 2).sum() / 2 + fit.residual_ms[0]))
    noise = 0.0 if side.ripple is None else float(np.sqrt(side.ripple.residual_ms[0] / volts.size))
    number = ripple * record.gain_factor(track)
    number = number + record.observed("ripple", 0.0, noise, dof=volts.size, label="noise on the ripple")
    return record.figure("supply_ripple_rms", number, "V", output=None, conditions=common)


def smoothing_width(cycle_samples: float | None) -> int:
    """Count the samples in the mean of which the lowest is taken."""
    return max(1, round(SMOOTHING_CYCLES * cycle_samples)) if cycle_samples else 1


def _smoothed_minimum(volts: Real, width: int) -> float:
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


def _drawn_notice(watts: float) -> Notice:
    return Notice(
        code="negative-supply-power",
        message=f"The supply gives {watts:.4g} W by its two channels: neither efficiency nor heat can be had.",
        hint="One of the two supply channels is reversed or silent: swap its leads, or give its scale a minus sign.",
        numbers={"supply_power_w": watts},
    )


def _efficiency_notices(figures: Sequence[Figure]) -> list[Notice]:
    efficiency = next(figure for figure in figures if figure.name == "efficiency")
    if efficiency.value <= 1:
        return []
    return [
        Notice(
            code="efficiency-over-1",
            message=f"Efficiency comes out as {100 * efficiency.value:.1f} %: more leaves than enters the amplifier.",
            hint="Check the scales of the four channels against a meter, the load's resistance, "
            "and that the supply current is taken before any storage on the bench.",
            numbers={"efficiency": efficiency.value, "u": efficiency.u},
        )
    ]


def _source_resistance(
    side: SupplySide, frequency_hz: float, common: dict[str, Condition]
) -> tuple[list[Figure], list[Notice]]:
    """Source resistance from the strongest line of the current's ripple: R = -Re(V/I) there."""
    record, fit = side.record, side.ripple
    if fit is None or side.amps is None or side.volt_track is None or side.amp_track is None:
        return [], []
    strongest = int(np.argmax(np.abs(fit.phasors[1])))
    lag_s = side.volt_track.calibration.skew_s - side.amp_track.calibration.skew_s
    turn = np.exp(2j * np.pi * frequency_hz * (strongest + 1) * lag_s)
    ripple_v, ripple_i = fit.phasors[0, strongest] * turn, fit.phasors[1, strongest]
    u_v, u_i = fit.amplitude_u[:2]
    smallest = SMALLEST_RIPPLE * abs(float(side.amps.mean()))
    if np.abs(ripple_i) <= max(RIPPLE_OVER_NOISE * u_i, smallest) or np.abs(ripple_v) < 3 * u_v:
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
