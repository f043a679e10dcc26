"""What the guard knows of a bench: tracks in volts and amperes, the closer of two limits, whole cycles."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil

from wattproof.bench import Bench, Limits, Role
from wattproof.plan import StepLimits
from wattproof.waveform import Channel


@dataclass(frozen=True, kw_only=True)
class GuardTrack:
    """One recorded track and how its numbers become volts, amperes or degrees.

    Attributes
    ----------
    column : int >= 0
        Where it stands in a block.
    role : str
        As in the bench file.
    output : str
        Amplifier output; counts for load_voltage and load_current.
    scale, offset : float
        Engineering units = scale * number + offset; degrees Celsius for a temperature.
    full_scale : float or None
        Magnitude, in the block's own unit, at which it clips; None where nobody knows.
    """

    column: int
    role: Role
    output: str = "A"
    scale: float = 1.0
    offset: float = 0.0
    full_scale: float | None = None

    @property
    def range(self) -> float | None:
        """Its full scale in engineering units."""
        return None if self.full_scale is None else abs(self.scale) * self.full_scale

    @property
    def words(self) -> str:
        """What a person calls it: "load voltage of output A (input 1)"."""
        of = f" of output {self.output}" if self.role in {"load_voltage", "load_current"} else ""
        return f"{self.role.replace('_', ' ')}{of} (input {self.column + 1})"


def guard_tracks(bench: Bench, channels: Sequence[Channel]) -> tuple[GuardTrack, ...]:
    """Find the bench's channels among a recorder's tracks.

    Parameters
    ----------
    bench : Bench
        Its channels with a numbered input are the recorder's tracks, counted from 1.
    channels : sequence of Channel
        The recorder's tracks; a full scale that the bench file leaves out is taken from them.

    Returns
    -------
    tuple of GuardTrack
        Those that are recorded, in the bench file's order.
    """
    names = {channel.name: column for column, channel in enumerate(channels)}
    found = []
    for channel in bench.channels:
        column = channel.input - 1 if isinstance(channel.input, int) else names.get(channel.input, len(channels))
        if column >= len(channels):
            continue
        full_scale = channel.full_scale if channel.full_scale is not None else channels[column].full_scale
        found.append(
            GuardTrack(
                column=column,
                role=channel.role,
                output=channel.output,
                scale=channel.scale,
                offset=channel.offset,
                full_scale=full_scale,
            )
        )
    return tuple(found)


def closest_limits(step: StepLimits, bench: Limits) -> StepLimits:
    """Give the closer of a step's limits and the bench's, one by one.

    Parameters
    ----------
    step : StepLimits
        What this step needs.
    bench : Limits
        What the bench bears.

    Returns
    -------
    StepLimits
        None only where neither says anything.
    """
    names = ("load_voltage_v", "load_dc_v", "load_current_a", "supply_current_a", "temperature_c", "full_power_s")
    closer: dict[str, object] = {name: _closer(getattr(step, name), getattr(bench, name)) for name in names}
    bands = [band for band in (step.supply_voltage_v, bench.supply_voltage_v) if band is not None]
    if bands:
        closer["supply_voltage_v"] = (max(low for low, _ in bands), min(high for _, high in bands))
    return step.model_copy(update=closer)


def _closer(one: float | None, other: float | None) -> float | None:
    known = [limit for limit in (one, other) if limit is not None]
    return min(known) if known else None


def window(*, at_least_s: float, rate_hz: float, tone_hz: float | None, cycles: float = 1.0) -> int:
    """Give the shortest window, in samples, of whole cycles (or whole multiples of `cycles` cycles) of a tone.

    Parameters
    ----------
    at_least_s : float, s
        The window is no shorter.
    rate_hz : float, Hz
        Samples a second.
    tone_hz : float or None, Hz
        None: any length will do.
    cycles : float
        0.5 for half cycles.
    """
    if tone_hz is None:
        return max(1, round(at_least_s * rate_hz))
    unit_s = cycles / tone_hz
    return max(1, round(ceil(at_least_s / unit_s - 1e-9) * unit_s * rate_hz))


Ohms = Mapping[str, float | tuple[float, float]]
"""The load in use, by output: its resistance, or the lowest and highest magnitude of its impedance, ohm."""


def ohm_range(ohms: float | tuple[float, float]) -> tuple[float, float]:
    """Give the lowest and the highest magnitude, ohm."""
    return ohms if isinstance(ohms, tuple) else (ohms, ohms)
