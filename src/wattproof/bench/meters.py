"""What a meter's data sheet says of a reading, as standard uncertainty."""

from dataclasses import dataclass
from math import hypot, sqrt
from typing import NamedTuple

from wattproof.bench.model import Bench, Meter, Read
from wattproof.errors import Notice

_DC = {"supply_voltage", "supply_current"}


@dataclass(frozen=True, kw_only=True)
class MeterDoubt:
    """Standard uncertainty of one reading, apart by what it shares with other readings; the column's unit.

    Attributes
    ----------
    shared : float
        From the per cent of reading: the meter's gain, the same error in every reading of this meter.
    own : float
        What the digits add to the limit: zero, linearity, noise; taken as different in every reading, which is the
        safe side for differences of readings.
    resolution : float
        From the last digit.
    notice : Notice or None
        The frequency lies outside the band in which the accuracy is stated.
    """

    shared: float
    own: float
    resolution: float
    notice: Notice | None = None

    @property
    def u(self) -> float:
        """Combined standard uncertainty."""
        return hypot(self.shared, self.own, self.resolution)


class UnknownMeter(NamedTuple):
    """Which meter was read cannot be told: what would be right."""

    what: str
    cure: str


def find_meter(
    bench: Bench, quantity: Read, *, name: str | None, frequency_hz: float | None
) -> Meter | UnknownMeter | None:
    """Find the meter that a quantity was read from; None where the bench has none for it and none is named.

    Examples
    --------
    >>> find_meter(Bench(), "load_voltage", name=None, frequency_hz=47.0) is None
    True
    """
    fitting = [meter for meter in bench.meters if meter.quantity == quantity]
    names = sorted({meter.name for meter in fitting})
    listed = " or ".join(f'"{one}"' for one in names)
    if name is not None and name not in names:
        cure = f"write {listed}" if names else f'add [[meters]] with name = "{name}", quantity = "{quantity}"'
        return UnknownMeter(f'the bench has no meter "{name}" for {quantity}', cure)
    if name is None and len(names) > 1:
        return UnknownMeter(
            f"{quantity} may have been read from {listed}", f"add a column {quantity}_meter that names the meter"
        )
    fitting = [meter for meter in fitting if name in {None, meter.name}]
    covering = [meter for meter in fitting if meter.covers(frequency_hz)]
    return next(iter(covering or fitting), None)


def meter_uncertainty(
    meter: Meter, reading: float, frequency_hz: float | None = None, *, step: float = 0.0
) -> MeterDoubt:
    """Evaluate the standard uncertainty of a reading from the accuracy in the meter's data sheet.

    The stated limit a = percent/100 · reading + digits · resolution is taken as the half width of a rectangular
    distribution, u = a/sqrt(3); the last digit adds resolution/sqrt(12) (JCGM 100, 4.3.7 and F.2.2.1).

    Parameters
    ----------
    meter : Meter
    reading : float
        In the column's unit: V, A, W, Hz or per cent.
    frequency_hz : float or None
        Of the signal; it counts for alternating quantities only.
    step : float
        One count of the last digit typed, the column's unit; used where the meter's resolution is left out.

    Examples
    --------
    >>> handheld = Meter(name="handheld", quantity="load_voltage", percent_of_reading=0.8, digits=3, resolution=0.01)
    >>> round(meter_uncertainty(handheld, 20.0, 50.0).u, 5)
    0.10973
    """
    resolution = meter.resolution or step
    gain = meter.percent_of_reading / 100 * abs(reading)
    limit = gain + meter.digits * resolution
    return MeterDoubt(
        shared=gain / sqrt(3),
        own=sqrt(max(limit**2 - gain**2, 0.0) / 3),
        resolution=resolution / sqrt(12),
        notice=_out_of_band(meter, frequency_hz),
    )


def _out_of_band(meter: Meter, frequency_hz: float | None) -> Notice | None:
    if meter.quantity in _DC or frequency_hz is None or meter.frequency_hz is None or meter.covers(frequency_hz):
        return None
    low, high = meter.frequency_hz
    return Notice(
        code="meter-out-of-band",
        message=f'The meter "{meter.name}" read {meter.quantity} at {frequency_hz:g} Hz; its accuracy is stated from '
        f"{low:g} to {high:g} Hz. The stated uncertainty does not cover the error there, which can be many per cent.",
        hint="Measure inside the band, compare the meter with a better one at this frequency, or record the signal.",
        numbers={"frequency_hz": frequency_hz, "lowest_hz": low, "highest_hz": high},
    )
