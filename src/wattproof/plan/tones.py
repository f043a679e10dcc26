"""Test tones: inside the amplifier's band, and away from the mains and its multiples."""

from math import ceil

from wattproof.amplifier import Amplifier
from wattproof.plan.model import BurstPattern

MAINS_HZ = (50.0, 60.0)
CLEAR_HZ = 2.5
"""A tone and its first harmonics keep this far from every multiple of the mains."""

HARMONICS_CLEAR = 5
"""So many multiples of the tone are kept clear, the tone itself included."""

BASS_HZ = 47.0
MIDDLE_HZ = 997.0
FULL_BAND_HZ = (20.0, 20000.0)

STANDARD_BURST = BurstPattern(tone_hz=1000.0, cycles_on=20, cycles_period=500, low_db=-20.0, bursts=10)
"""20 ms of 1 kHz every 500 ms: exactly 1 kHz, as it is written, although that is twenty times 50 Hz."""

_FARTHEST_HZ = 100
_LEAST_CYCLES = 8
_LEAST_BURST_S = 0.020
_PERIODS = 25
"""A burst in 25 of its own lengths, as 20 ms in 500 ms: the mean power is 4.96 % of the burst's."""


def mains_distance(tone_hz: float, *, harmonics: int = HARMONICS_CLEAR) -> float:
    """Give the smallest distance of a tone and its harmonics from any multiple of 50 or 60 Hz.

    Parameters
    ----------
    tone_hz : float, Hz
    harmonics : int >= 1
        Multiples of the tone that are looked at, the tone itself being the first.

    Returns
    -------
    float, Hz

    Examples
    --------
    >>> mains_distance(47.0), mains_distance(997.0), mains_distance(1000.0)
    (3.0, 3.0, 0.0)
    """
    return min(
        abs(order * tone_hz - max(round(order * tone_hz / mains_hz), 1) * mains_hz)
        for order in range(1, harmonics + 1)
        for mains_hz in MAINS_HZ
    )


def clean_tone(near_hz: float, *, low_hz: float = FULL_BAND_HZ[0], high_hz: float = FULL_BAND_HZ[1]) -> float:
    """Find the tone nearest to a wanted one that lies in a band and keeps clear of the mains.

    Parameters
    ----------
    near_hz : float, Hz
        Wanted.
    low_hz, high_hz : float, Hz
        Edges of the band.

    Returns
    -------
    float, Hz
        On a grid of 0.5 Hz; the wanted tone itself where the band holds no clear one, which a check then tells.

    Examples
    --------
    >>> clean_tone(1000.0), clean_tone(50.0), clean_tone(40.0)
    (997.5, 47.5, 39.0)
    """
    wanted = min(max(near_hz, low_hz), high_hz)
    for away in range(2 * _FARTHEST_HZ):
        for number in (round(2 * wanted) - away, round(2 * wanted) + away):
            if low_hz <= number / 2 <= high_hz and mains_distance(number / 2) >= CLEAR_HZ:
                return number / 2
    return wanted


def amplifier_band(amplifier: Amplifier) -> tuple[float, float] | None:
    """Give the band that the maker states, Hz; None where neither end is stated."""
    low = [rating.value_si for rating in amplifier.ratings if rating.quantity == "frequency_low"]
    high = [rating.value_si for rating in amplifier.ratings if rating.quantity == "frequency_high"]
    if not low and not high:
        return None
    return max(low, default=FULL_BAND_HZ[0]), min(high, default=FULL_BAND_HZ[1])


def choose_tone(amplifier: Amplifier) -> float:
    """Choose the tone for ramps and holds.

    Where a power rating states its frequency, near that; otherwise 997 Hz in a stated band that holds it (the middle of
    the audio band, where the standards measure), and 47 Hz where no band is stated: bass amplifiers and full-range ones
    both carry it.

    Returns
    -------
    float, Hz
    """
    stated = [rating.frequency_hz for rating in amplifier.ratings if rating.quantity == "power" and rating.frequency_hz]
    band = amplifier_band(amplifier)
    low_hz, high_hz = band or FULL_BAND_HZ
    usual = MIDDLE_HZ if band and low_hz <= MIDDLE_HZ <= high_hz else BASS_HZ
    wanted = stated[0] if stated else usual
    for tone_hz in (BASS_HZ, MIDDLE_HZ):
        if abs(tone_hz - wanted) <= 0.1 * tone_hz and low_hz <= tone_hz <= high_hz:
            return tone_hz
    return clean_tone(wanted, low_hz=low_hz, high_hz=high_hz)


def whole_cycle_burst(tone_hz: float) -> BurstPattern:
    """Make the burst train of whole cycles of a tone: 20 ms or 8 cycles, whichever is longer, in 25 times as long.

    Examples
    --------
    >>> pattern = whole_cycle_burst(47.0)
    >>> pattern.cycles_on, pattern.cycles_period, round(mean_share(pattern), 4)
    (8, 200, 0.0496)
    >>> whole_cycle_burst(997.0).cycles_on
    20
    """
    cycles = max(_LEAST_CYCLES, ceil(_LEAST_BURST_S * tone_hz))
    bursts = 5 if tone_hz < 200 else 10
    return BurstPattern(tone_hz=tone_hz, cycles_on=cycles, cycles_period=_PERIODS * cycles, low_db=-20.0, bursts=bursts)


def mean_share(pattern: BurstPattern) -> float:
    """Mean power of a burst train over the burst's own, W/W.

    Examples
    --------
    >>> round(mean_share(STANDARD_BURST), 4)
    0.0496
    """
    on = pattern.cycles_on / pattern.cycles_period
    return on + (1 - on) * 10 ** (pattern.low_db / 10)
