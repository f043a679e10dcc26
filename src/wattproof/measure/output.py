"""One output of a record with a tone: the joint fit of its channels and what the fit leaves, ready for figures."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from wattproof.dsp import (
    Spectrum,
    ToneFit,
    band_power,
    cross_band_power,
    fit_at,
    fit_tone,
    spectrum_of,
    tone_band,
)
from wattproof.errors import MeasureError, NoToneError
from wattproof.measure.model import Condition, Figure
from wattproof.measure.pieces import piece_edges, piece_means
from wattproof.measure.record import BenchRecord
from wattproof.measure.steadiness import FrameTones
from wattproof.measure.tracks import OutputTracks, tracks_of
from wattproof.quantity import Uncertain

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

HARMONICS_LISTED = 10
"""Harmonics 2 to this one are listed, and make up the THD (docs/methods/thd.md)."""

HARMONICS_WHEN_SHORT = 40
"""A short record is fitted with more: strong harmonics left out of the fit would lean on those in it."""

SHORT_CYCLES = 100

QUARTERS = 4
SCATTER_OF_NOISE = 2.6
"""Noise alone exceeds this share of its variance in one of twenty sets of four (chi-squared, 3 degrees of freedom)."""

FRAME_CYCLES = 10

LEAST_OVER_NOISE = 7.0
"""The strongest of a million lines of noise is 5.3 times its uncertainty, and 7 times once in 40,000 records."""


@dataclass(frozen=True, kw_only=True, eq=False)
class SteadyOutput(OutputTracks):
    """One output's tone: the joint fit of its channels, and the spectra of what the fit leaves.

    Attributes
    ----------
    samples : Real of shape (n_tracks, N)
        Engineering units.
    fit : ToneFit
        Of all tracks together.
    band_hz : (float, float)
    supply_v : float or None
        Mean supply voltage, V: a condition.
    """

    samples: Real
    fit: ToneFit
    band_hz: tuple[float, float]
    supply_v: float | None = None

    @cached_property
    def has_current(self) -> bool:
        """Whether a load current is recorded and its tone stands out of its noise."""
        row = self.rows.get("load_current")
        return row is not None and float(np.abs(self.fit.phasors[row, 0])) > 3 * float(self.fit.amplitude_u[row])

    def phasors(self, role: str) -> Complex:
        """Harmonics' peak phasors of a role at the first sample, its skew taken out, engineering units."""
        order = np.arange(1, self.fit.n_harmonics + 1)
        skew_s = self.tracks[role].calibration.skew_s
        turn = np.exp(2j * np.pi * self.fit.frequency_hz * order * skew_s)
        return np.asarray(self.fit.phasors[self.rows[role]] * turn)

    @cached_property
    def in_band(self) -> NDArray[np.bool_]:
        """Which fitted harmonics lie in the measuring band."""
        hz = self.fit.frequency_hz * np.arange(1, self.fit.n_harmonics + 1)
        return (hz >= self.band_hz[0]) & (hz <= self.band_hz[1])

    @property
    def highest_in_band(self) -> int:
        """Order of the highest fitted harmonic in the measuring band; 1 where it is the tone itself."""
        return int(np.flatnonzero(self.in_band)[-1]) + 1

    def left(self, role: str) -> Spectrum:
        """Spectrum of what the fit leaves of a role."""
        return self._spectra[role]

    @cached_property
    def _residuals(self) -> dict[str, Real]:
        roles = [role for role in (self.main, "load_current") if role in self.tracks]
        return {role: self.fit.residual(self.samples[self.rows[role]], self.rows[role]) for role in roles}

    @cached_property
    def _spectra(self) -> dict[str, Spectrum]:
        rate_hz = self.fit.rate_hz
        return {role: spectrum_of(left, rate_hz=rate_hz) for role, left in self._residuals.items()}

    @cached_property
    def left_in_band(self) -> dict[str, float]:
        """Mean square in the band of what the fit leaves of each role."""
        low_hz, high_hz = self.band_hz
        return {role: band_power(left, low_hz=low_hz, high_hz=high_hz) for role, left in self._spectra.items()}

    def mean_square(self, role: str, *, first: int = 1) -> float:
        """Mean square in the band of the harmonics from `first` on and of all that is no harmonic."""
        lines = np.abs(self.phasors(role)[first - 1 :][self.in_band[first - 1 :]]) ** 2 / 2
        return float(lines.sum()) + self.left_in_band[role]

    @cached_property
    def shared_in_band(self) -> float:
        """Mean product in the band of what the fit leaves of volts and amperes, W."""
        low_hz, high_hz = self.band_hz
        return cross_band_power(self.left(self.main), self.left("load_current"), low_hz=low_hz, high_hz=high_hz)

    def line_u(self, role: str) -> float:
        """Give the standard uncertainty of a harmonic's peak amplitude, engineering units.

        sqrt(2/N) sigma, where sigma is that of white noise as dense as what the fit leaves in the measuring band:
        residue above the band does not blur a harmonic, hum in it does.
        """
        if role not in self._spectra:
            return float(self.fit.amplitude_u[self.rows[role]])
        density = self.noise_ms(role) / (self.band_hz[1] - self.band_hz[0])
        return float(np.sqrt(density * self.fit.rate_hz / self.fit.n_samples))

    def noise_ms(self, role: str) -> float:
        """Mean square in the band of what the fit leaves, with the noise that the fitted harmonics took made good."""
        low_hz, high_hz = self.band_hz
        freedoms = 2 * (high_hz - low_hz) * self.fit.n_samples / self.fit.rate_hz
        kept = max(1 - 2 * int(self.in_band.sum()) / freedoms, 0.1)
        return self.left_in_band[role] / kept

    def noise_share(self, role: str) -> float:
        """Share of noise in a role's mean square in the band."""
        return self.noise_ms(role) / total if (total := self.mean_square(role)) > 0 else 0.0

    def noise_factor(self, role: str) -> Uncertain:
        """Uncertain factor 1: how well noise lets this role's amplitude be known."""
        size = float(np.abs(self.fit.phasors[self.rows[role], 0]))
        relative = self.line_u(role) / size if size > 0 else 0.0
        label = f"noise of {role} {self.output}"
        return self.record.observed(label, 1.0, relative, dof=self.fit.dof, label=label)

    def counted_noise(self, role: str) -> Uncertain:
        """Uncertain factor 1: noise lifts an r.m.s. value by half its share; if it is the recorder's, that is wrong."""
        label = f"noise counted in {role} {self.output}"
        return self.record.observed(label, 1.0, self.noise_share(role) / 2, dof=self.fit.dof, label=label)

    def scale(self, role: str) -> Uncertain:
        """Uncertain factor 1 from a role's calibration."""
        return self.record.gain_factor(self.tracks[role])

    def conditions(self, **more: Condition) -> dict[str, Condition]:
        """Conditions common to this output's figures."""
        low_hz, high_hz = self.band_hz
        common: dict[str, Condition] = {"frequency_hz": round(self.fit.frequency_hz, 4)}
        if self.record.load is not None:
            common["load_ohm"] = self.record.load.resistance_ohm
        if self.supply_v is not None:
            common["supply_v"] = round(self.supply_v, 3)
        return {**common, "bandwidth_hz": (low_hz, high_hz), **more}

    def figure(self, name: str, number: Uncertain, unit: str, **conditions: Condition) -> Figure:
        """Freeze a number as a figure of this output."""
        return self.record.figure(name, number, unit, output=self.output, conditions=self.conditions(**conditions))

    @cached_property
    def frame_tones(self) -> FrameTones | None:
        """The fundamental in up to 16 frames, at least ten cycles each; None if too short.

        From what the fit leaves in phase with the fundamental and a quarter ahead of it: a frame's part of a cycle then
        does no harm.
        """
        cycle = self.fit.rate_hz / self.fit.frequency_hz
        edges = piece_edges(self.fit.n_samples, cycle_samples=cycle, fewest_cycles=FRAME_CYCLES)
        if edges is None:
            return None
        left = self._residuals[self.main]
        in_phase, ahead = (piece_means(left * self.fit.carrier(0, ahead_rad=turn), edges) for turn in (0.0, np.pi / 2))
        return FrameTones(
            phasors=np.abs(self.fit.phasors[0, 0]) + 2 * (in_phase + 1j * ahead),
            times_s=(edges[:-1] + edges[1:]) / 2 / self.fit.rate_hz,
            mean_squares=lambda: piece_means((self.samples[0] - self.fit.dc[0]) ** 2, edges),
        )

    @property
    def frame_noise(self) -> float:
        """Standard uncertainty of a frame's amplitude over the tone's, and of its phase in rad, from noise alone."""
        frames = 0 if self.frame_tones is None else self.frame_tones.phasors.size
        return self.line_u(self.main) * float(np.sqrt(frames)) / float(np.abs(self.fit.phasors[0, 0]))

    @property
    def repeatability(self) -> Uncertain:
        """Uncertain factor 1 on the level: what scatters from frame to frame beyond what noise explains."""
        if self.frame_tones is None:
            return 1.0
        levels = self.frame_tones.levels
        relative = float(levels.std(ddof=1) / levels.mean()) / 2
        noise = self.line_u(self.main) / float(np.abs(self.fit.phasors[0, 0]))
        excess = max(relative**2 / levels.size - noise**2, 0.0) ** 0.5
        label = f"repeatability of the level {self.output}"
        return self.record.observed(label, 1.0, excess, dof=levels.size - 1, label=label)

    @cached_property
    def distortion_scatter(self) -> Uncertain:
        """Uncertain factor 1 on the distortion: what differs between quarters of the record beyond their noise.

        An amplifier that warms up changes its distortion; noise alone would make the figure look far too certain.
        """
        if self.fit.cycles < QUARTERS * FRAME_CYCLES:
            return 1.0
        length = self.fit.n_samples // QUARTERS
        sizes = []
        for start in range(0, QUARTERS * length, length):
            piece = self.samples[:1, start : start + length]
            part = fit_at(piece, rate_hz=self.fit.rate_hz, frequency_hz=self.fit.frequency_hz)
            size = np.abs(part.phasors[0])
            if size[0] == 0:
                return 1.0
            sizes.append(float(np.sqrt((size[1:] ** 2).sum())) / float(size[0]))
        mean, spread = float(np.mean(sizes)), float(np.std(sizes, ddof=1))
        noise = self.line_u(self.main) * QUARTERS**0.5 / float(np.abs(self.fit.phasors[0, 0]))
        if mean == 0 or spread**2 < SCATTER_OF_NOISE * noise**2:
            return 1.0
        excess = float(np.sqrt((spread**2 - noise**2) / QUARTERS)) / mean
        label = f"unsteadiness of the distortion {self.output}"
        return self.record.observed(label, 1.0, excess, dof=QUARTERS - 1, label=label)


def fit_output(record: BenchRecord, samples: Real, name: str) -> SteadyOutput:
    """Fit one output's channels together; `samples` are the recording's, file units, shape (n_channels, N)."""
    tracks = tracks_of(record, name)
    engineering = np.empty((len(tracks), samples.shape[1]))
    for row, track in enumerate(tracks.values()):
        np.multiply(samples[track.index], track.calibration.scale, out=engineering[row])
        if track.calibration.offset:
            engineering[row] += track.calibration.offset
    rate_hz = record.recording.rate_hz
    fit = fit_tone(engineering, rate_hz=rate_hz, tone_hz=record.tone_hz, n_harmonics=HARMONICS_LISTED)
    _refuse_noise(fit)
    low_hz, high_hz = tone_band(fit.frequency_hz, rate_hz=rate_hz, high_hz=record.high_hz or 20e3)
    band_hz = (record.low_hz or low_hz, high_hz)
    if not band_hz[0] <= fit.frequency_hz <= band_hz[1]:
        raise _outside_band(fit.frequency_hz, band_hz)
    if fit.cycles < SHORT_CYCLES:
        wanted = min(HARMONICS_WHEN_SHORT, max(HARMONICS_LISTED, int(high_hz / fit.frequency_hz)))
        fit = fit_at(engineering, rate_hz=rate_hz, frequency_hz=fit.frequency_hz, n_harmonics=wanted)
    return SteadyOutput(
        record=record,
        output=name,
        tracks=tracks,
        samples=engineering,
        fit=fit,
        supply_v=record.mean_supply_v(samples),
        band_hz=band_hz,
    )


def _refuse_noise(fit: ToneFit) -> None:
    """Refuse the strongest line of mere noise: an output that is not driven has no tone."""
    size, u = float(np.abs(fit.phasors[0, 0])), float(fit.amplitude_u[0])
    if size >= LEAST_OVER_NOISE * u:
        return
    raise NoToneError(
        "No tone was found.",
        why=f"the line at {fit.frequency_hz:.5g} Hz is {size / u:.1f} times its own uncertainty, as noise has it",
        hint="Check that this output is driven and on which channel it is, or say --kind idle.",
    )


def _outside_band(tone_hz: float, band_hz: tuple[float, float]) -> MeasureError:
    return MeasureError(
        f"The tone of {tone_hz:.5g} Hz lies outside the measuring band.",
        why=f"the band reaches from {band_hz[0]:g} to {band_hz[1]:g} Hz",
        hint=f"Choose a band that holds it: --low-hz {min(band_hz[0], tone_hz / 2):.3g} "
        f"--high-hz {max(band_hz[1], 2 * tone_hz):.3g}, up to half the sample rate.",
    )
