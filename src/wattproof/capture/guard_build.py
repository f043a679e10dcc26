"""Which checks a bench and its limits ask for, and which limits cannot be watched there."""

from collections.abc import Sequence

import numpy as np

from wattproof.bench import Role
from wattproof.capture.contract import Samples
from wattproof.capture.guard_checks import Check, Clipped, Energy, FullPower, LoadThere, MeanBand, Peak
from wattproof.capture.guard_ring import Lasting
from wattproof.capture.guard_tracks import GuardTrack, Ohms, ohm_range, window
from wattproof.errors import Notice
from wattproof.plan import StepLimits

SUPPLY_MEAN_S = 0.002
"""Supply voltage is judged by its mean over this long, supply current over half cycles at least this long, seconds."""

DC_MEAN_S = (0.1, 4.0)
"""Output DC is judged by its mean over whole cycles, no shorter and no longer than this, seconds (`_dc_mean_s`) ..."""

DC_LASTS_S = 0.005
"""... that stays past the limit for whole cycles at least this long."""

SILENT_DC_MEAN_S = 0.5
"""The same mean where no tone is driven, seconds."""

LOAD_MEAN_S = 0.005
"""The load is judged by r.m.s. values over half cycles at least this long, seconds ..."""

LOAD_LASTS_S = 0.001
"""... whose ratio stays out of reach for this long."""

POWER_MEAN_S = 0.02
"""Power and temperature are judged by their means over whole cycles at least this long, seconds."""

READABLE_PART = 0.01
"""A voltage or current counts as readable from this part of its channel's full scale on, r.m.s.; where that is not
known, from the two values below."""

READABLE_V = 0.5
READABLE_A = 0.25


_JUDGED_BY_MEAN = {"supply_voltage", "supply_current", "temperature"}


class SumRows:
    """The rows whose running sums the checks share: tracks whose mean is judged, squares of the loads' tracks, powers.

    A load's power is v·i where its current is recorded, else v²/R with the lowest magnitude of the load in use.
    """

    def __init__(self, *, tracks: Sequence[GuardTrack], loads: Ohms) -> None:
        self.tracks = tuple(tracks)
        self._plain = [row for row, track in enumerate(tracks) if track.role in _JUDGED_BY_MEAN]
        self._squared = [row for row, track in enumerate(tracks) if track.role in {"load_voltage", "load_current"}]
        self.plain = {row: n for n, row in enumerate(self._plain)}
        self.volts = self.all("load_voltage")
        firsts = {
            tracks[row].output: row for row in reversed(self.volts)
        }  # one power an output, however often recorded
        self._powered = sorted(firsts.values())
        self.squares = {row: len(self._plain) + n for n, row in enumerate(self._squared)}
        n_rows = len(self._plain) + len(self._squared)
        self._products = self._load_products()
        self._resistors = self._load_resistors(loads)
        self.power_row = n_rows if self._products or self._resistors else None
        n_rows += self.power_row is not None
        volts, amps = self.find("supply_voltage"), self.find("supply_current")
        self._supply = (volts, amps) if volts is not None and amps is not None else None
        self.supply_row = n_rows if self._supply else None
        self.n_rows = n_rows + (self._supply is not None)

    @property
    def energy_row(self) -> int | None:
        """The power whose energy is counted: the supply's, else that of the loads."""
        return self.power_row if self.supply_row is None else self.supply_row

    def find(self, role: Role, output: str | None = None) -> int | None:
        """Give the row of a track."""
        rows = (n for n, t in enumerate(self.tracks) if t.role == role and output in {None, t.output})
        return next(rows, None)

    def all(self, role: Role) -> list[int]:
        """Give the rows of all tracks of a role."""
        return [row for row, track in enumerate(self.tracks) if track.role == role]

    def _load_products(self) -> list[tuple[int, int]]:
        pairs = [(row, self.find("load_current", self.tracks[row].output)) for row in self._powered]
        return [(row, amps) for row, amps in pairs if amps is not None]

    def _load_resistors(self, loads: Ohms) -> list[tuple[int, float]]:
        with_current = {row for row, _ in self._products}
        alone = [row for row in self._powered if row not in with_current]
        return [(row, ohm_range(loads[out])[0]) for row in alone if (out := self.tracks[row].output) in loads]

    def of(self, values: Samples) -> Samples:
        """Give the rows of a block, shape (n_rows, n_samples), from its tracks in volts and amperes."""
        rows = np.empty((self.n_rows, values.shape[1]))
        n_plain, n_squared = len(self._plain), len(self._squared)
        rows[:n_plain] = values[self._plain]
        np.square(values[self._squared], out=rows[n_plain : n_plain + n_squared])
        if self.power_row is not None:
            powers = [values[volts] * values[amps] for volts, amps in self._products]
            powers += [rows[self.squares[row]] / ohm for row, ohm in self._resistors]
            rows[self.power_row] = sum(powers)
        if self._supply is not None:
            volts, amps = self._supply
            rows[-1] = values[volts] * values[amps]
        return rows


def make_checks(
    *, rows: SumRows, limits: StepLimits, rate_hz: float, tone_hz: float | None, loads: Ohms
) -> tuple[Check, ...]:
    """Make the checks that limits and tracks allow.

    Parameters
    ----------
    rows : SumRows
        Of the tracks.
    limits : StepLimits
        What is None is not watched.
    rate_hz, tone_hz : float, Hz
        Sampling rate, and the tone driven.
    loads : Ohms
        The load in use, by output.
    """
    clock = _Clock(rate_hz=rate_hz, tone_hz=tone_hz)
    return (
        *_clipped(rows),
        *_peaks(rows, limits),
        *_dc(rows, limits, clock),
        *_supply(rows, limits, clock),
        *_loads(rows, loads, clock),
        *_budgets(rows, limits, clock),
    )


class _Clock:
    def __init__(self, *, rate_hz: float, tone_hz: float | None) -> None:
        self._rate_hz = rate_hz
        self.tone_hz = tone_hz

    def cycles(self, at_least_s: float) -> int:
        return window(at_least_s=at_least_s, rate_hz=self._rate_hz, tone_hz=self.tone_hz)

    def half_cycles(self, at_least_s: float) -> int:
        return window(at_least_s=at_least_s, rate_hz=self._rate_hz, tone_hz=self.tone_hz, cycles=0.5)

    def plain(self, at_least_s: float) -> int:
        return window(at_least_s=at_least_s, rate_hz=self._rate_hz, tone_hz=None)


def _clipped(rows: SumRows) -> list[Check]:
    return [
        Clipped(track=track, row=row, full_scale=track.full_scale)
        for row, track in enumerate(rows.tracks)
        if track.full_scale is not None
    ]


def _peaks(rows: SumRows, limits: StepLimits) -> list[Check]:
    asked: list[tuple[Role, float | None, str, str]] = [
        ("load_voltage", limits.load_voltage_v, "V", "Check the load and the gain; lower the highest level asked for."),
        ("load_current", limits.load_current_a, "A", "Check the load and its wiring for a short; lower the level."),
    ]
    return [
        Peak(code=role.replace("_", "-"), track=rows.tracks[row], row=row, limit=limit, unit=unit, hint=hint)
        for role, limit, unit, hint in asked
        if limit is not None
        for row in rows.all(role)
    ]


def _dc(rows: SumRows, limits: StepLimits, clock: _Clock) -> list[Check]:
    if limits.load_dc_v is None:
        return []
    lasting = clock.cycles(DC_LASTS_S)
    return [
        MeanBand(
            code="load-dc",
            track=rows.tracks[row],
            row=row,
            sum_row=sum_row,
            slow=True,
            window=clock.cycles(_dc_mean_s(rows.tracks[row], limits, limits.load_dc_v, clock)),
            low=-limits.load_dc_v,
            high=limits.load_dc_v,
            unit="V",
            hint="Do not connect a loudspeaker: DC at an output is often a failing output stage. Measure it at rest.",
            above=Lasting(lasting),
            below=Lasting(lasting),
        )
        for sum_row, row in enumerate(rows.volts)
    ]


def _dc_mean_s(track: GuardTrack, limits: StepLimits, limit_v: float, clock: _Clock) -> float:
    """So long that no half cycle within the voltage limit can look like DC, seconds.

    The integral of half a cycle at f, even of a square wave of peak V, is V/(2·f); so is, at most, what a coupling
    capacitor makes of a burst of sines. Its mean over T stays within the limit where T = V/(2·f·limit).
    """
    if clock.tone_hz is None:
        return SILENT_DC_MEAN_S
    peak_v = limits.load_voltage_v or track.range or 100.0
    return min(max(DC_MEAN_S[0], peak_v / (2 * clock.tone_hz * limit_v)), DC_MEAN_S[1])


def _supply(rows: SumRows, limits: StepLimits, clock: _Clock) -> list[Check]:
    low_v, high_v = limits.supply_voltage_v or (None, None)
    amps, degrees = limits.supply_current_a, limits.temperature_c
    asked: list[tuple[Role, str, tuple[float | None, float | None], str, int, bool, str]] = [
        ("supply_voltage", "supply-voltage", (low_v, high_v), "V", clock.plain(SUPPLY_MEAN_S), True,
         "Check the supply's setting, its current limit, its cables and terminals."),
        ("supply_current", "supply-current", (None if amps is None else -amps, amps), "A",
         clock.half_cycles(SUPPLY_MEAN_S), False, "Check the supply's wiring and the amplifier; lower the level."),
        ("temperature", "temperature", (None, degrees), "degC", clock.plain(POWER_MEAN_S), False,
         "Let it cool, with air moving past its heat sink, before going on."),
    ]  # fmt: skip
    return [
        MeanBand(
            code=code,
            track=rows.tracks[row],
            row=row,
            sum_row=rows.plain[row],
            window=length,
            low=band[0],
            high=band[1],
            unit=unit,
            hint=hint,
            steady=steady,
        )
        for role, code, band, unit, length, steady, hint in asked
        if band != (None, None)
        for row in rows.all(role)
    ]


def _loads(rows: SumRows, loads: Ohms, clock: _Clock) -> list[Check]:
    checks: list[Check] = []
    for output, ohms in loads.items():
        volts, amps = rows.find("load_voltage", output), rows.find("load_current", output)
        if volts is None or amps is None:
            continue
        low, high = ohm_range(ohms)
        checks.append(
            LoadThere(
                output=output,
                volts_row=rows.squares[volts],
                amps_row=rows.squares[amps],
                window=clock.half_cycles(LOAD_MEAN_S),
                ohm_low=low,
                ohm_high=high,
                readable_v=_readable(rows.tracks[volts], READABLE_V),
                readable_a=_readable(rows.tracks[amps], READABLE_A),
                open_for=Lasting(clock.plain(LOAD_LASTS_S)),
                short_for=Lasting(clock.plain(LOAD_LASTS_S)),
            )
        )
    return checks


def _readable(track: GuardTrack, otherwise: float) -> float:
    return otherwise if track.range is None else READABLE_PART * track.range


def _budgets(rows: SumRows, limits: StepLimits, clock: _Clock) -> list[Check]:
    checks: list[Check] = []
    if limits.energy_j is not None and rows.energy_row is not None:
        whose = "from the supply" if rows.supply_row is not None else "in the loads (the supply is not recorded)"
        checks.append(Energy(row=rows.energy_row, limit_j=limits.energy_j, whose=whose))
    if limits.full_power_w is not None and rows.power_row is not None:
        window_n = clock.cycles(POWER_MEAN_S)
        checks.append(
            FullPower(row=rows.power_row, window=window_n, above_w=limits.full_power_w, limit_s=limits.full_power_s)
        )
    return checks


def unwatched(*, rows: SumRows, limits: StepLimits) -> tuple[Notice, ...]:
    """Tell of limits that no recorded track lets the guard watch.

    Parameters
    ----------
    rows : SumRows
        Of the tracks.
    limits : StepLimits
        What is None is not missed.

    Returns
    -------
    tuple of Notice
        One a limit, code ``guard-blind``.
    """
    needs: list[tuple[str, object, bool, str]] = [
        ("load_voltage_v", limits.load_voltage_v, bool(rows.all("load_voltage")), "load_voltage"),
        ("load_dc_v", limits.load_dc_v, bool(rows.all("load_voltage")), "load_voltage"),
        ("load_current_a", limits.load_current_a, bool(rows.all("load_current")), "load_current"),
        ("supply_current_a", limits.supply_current_a, bool(rows.all("supply_current")), "supply_current"),
        ("supply_voltage_v", limits.supply_voltage_v, bool(rows.all("supply_voltage")), "supply_voltage"),
        ("temperature_c", limits.temperature_c, bool(rows.all("temperature")), "temperature"),
        ("energy_j", limits.energy_j, rows.energy_row is not None, "load_voltage"),
        ("full_power_s", limits.full_power_s, rows.power_row is not None, "load_voltage"),
    ]
    return tuple(
        Notice(
            code="guard-blind",
            message=f"The guard cannot watch {name}: no channel records {role.replace('_', ' ')}.",
            hint=f'Add a channel with role = "{role}" to the bench file, or watch it with a hand on the switch.',
        )
        for name, limit, seen, role in needs
        if limit is not None and not seen
    )
