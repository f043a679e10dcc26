"""What the page draws of the moment: a picture of a few cycles that stands still, and a true spectrum."""

import numpy as np
import pytest

from wattproof.run.traces import CYCLES, N_BANDS, N_SPECTRUM, Tracer

RATE_HZ = 96000.0


def fed(volts, tone_hz, *, block=960):
    tracer = Tracer(rate_hz=RATE_HZ, tone_hz=tone_hz)
    for start in range(0, volts.size, block):
        tracer.add(volts[start : start + block])
    return tracer.traces(number=3, t_s=1.0)


def test_nothing_is_drawn_before_there_is_enough():
    tracer = Tracer(rate_hz=RATE_HZ, tone_hz=997.0)
    tracer.add(np.zeros(N_SPECTRUM - 1))
    assert tracer.traces(number=1, t_s=0.0) is None


@pytest.mark.parametrize("tone_hz", [47.0, 997.0])
@pytest.mark.parametrize("phase", [0.0, 1.0, 2.5, 4.0])
def test_the_waveform_stands_still_whatever_the_phase(tone_hz, phase):
    t = np.arange(30000) / RATE_HZ
    seen = fed(10 * np.sin(2 * np.pi * tone_hz * t + phase), tone_hz)
    places = np.linspace(0, CYCLES, len(seen.waveform_v))
    expected = 10 * np.sin(2 * np.pi * places)
    # the crossing is found to a sample: a slope of 2 pi f times 10 V over one, and the rounding of the last cycle
    assert np.abs(np.array(seen.waveform_v) - expected).max() < 10 * 2 * np.pi * tone_hz / RATE_HZ * 2.5 + 1e-3
    assert seen.waveform_s == pytest.approx(CYCLES / tone_hz, abs=1 / RATE_HZ)


def test_the_spectrum_has_its_lines_where_they_are_and_as_high_as_they_are():
    t = np.arange(30000) / RATE_HZ
    seen = fed(10 * np.sin(2 * np.pi * 997 * t) + 0.01 * np.sin(2 * np.pi * 2991 * t), 997.0)
    edges_hz = np.geomspace(*seen.spectrum_hz, N_BANDS + 1)
    level = dict.fromkeys((997.0, 2991.0))
    for hz in level:
        level[hz] = seen.spectrum_db[int(np.searchsorted(edges_hz, hz)) - 1]
    assert level[997.0] == 0.0
    # a Hann window's line falls by 1.42 dB at most between two bins, for each of the two
    assert level[2991.0] == pytest.approx(-60.0, abs=1.5)


def test_silence_is_a_flat_floor():
    seen = fed(np.zeros(30000), None)
    assert set(seen.spectrum_db) == {-140.0}
    assert set(seen.waveform_v) == {0.0}
