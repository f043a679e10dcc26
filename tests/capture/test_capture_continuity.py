"""A recording with a gap, a splice or a repetition is told from an unbroken one, whatever the amplifier does to it."""

import numpy as np
import pytest

from wattproof.capture.continuity import FRAME_S, Continuity

RATE_HZ = 96000
FRAME = round(FRAME_S * RATE_HZ)
TONES_HZ = [47.0, 997.0]


def sine(tone_hz, seconds, lag_rad=0.0):
    return np.sin(2 * np.pi * tone_hz * np.arange(round(seconds * RATE_HZ)) / RATE_HZ - lag_rad)


def ramp(tone_hz):
    return sine(tone_hz, 3) * 10 ** (np.linspace(-60, 0, 3 * RATE_HZ) / 20)


def bursts(tone_hz):
    cycles = np.arange(4 * RATE_HZ) * tone_hz / RATE_HZ
    period = round(tone_hz / 2)
    return sine(tone_hz, 4) * np.where(cycles % period < max(1, round(0.02 * tone_hz)), 1.0, 0.1)


def hold(tone_hz):
    return sine(tone_hz, 6)


STEPS = {"ramp": ramp, "bursts": bursts, "hold": hold}


def heard(drive, tone_hz, *, own_track, seed=1):
    """The drive's own track, or an amplifier that clips hard from two thirds on; noise and hum on either."""
    noise = np.random.default_rng(seed)
    made = drive if own_track else np.clip(drive * 1.5, -1, 1)
    return made + 3e-4 * noise.standard_normal(len(made)) + 1e-3 * sine(50.0, len(made) / RATE_HZ)


def breaks(drive, record, *, own_track, block=4096):
    checked = Continuity(rate_hz=RATE_HZ, own_track=own_track)
    n_samples = min(len(drive), len(record))
    for start in range(0, n_samples, block):
        stop = min(start + block, n_samples)
        checked.add(drive[start:stop], record[start:stop])
    return checked.breaks()


def cut(record, at):
    return np.delete(record, np.s_[at : at + 37])


def gap_in_the_drive(record, at):
    return np.insert(record, at, np.zeros(960))


def zeros_instead(record, at):
    return np.concatenate((record[:at], np.zeros(960), record[at + 960 :]))


def repeated(record, at):
    return np.concatenate((record[:at], record[at - 1500 :]))


def holds(found, at):
    """Whether one of the breaks spans the sample."""
    return any(one.start <= at < one.stop for one in found)


@pytest.mark.parametrize("own_track", [True, False])
@pytest.mark.parametrize("tone_hz", TONES_HZ)
@pytest.mark.parametrize("step", STEPS)
def test_an_unbroken_recording_is_whole(step, tone_hz, own_track):
    drive = STEPS[step](tone_hz)
    assert breaks(drive, heard(drive, tone_hz, own_track=own_track), own_track=own_track) == ()


@pytest.mark.parametrize("step", STEPS)
@pytest.mark.parametrize("tone_hz", TONES_HZ)
@pytest.mark.parametrize("fault", [cut, gap_in_the_drive, zeros_instead, repeated])
def test_a_fault_on_the_drives_own_track_is_found_where_it_is(fault, tone_hz, step):
    drive = STEPS[step](tone_hz)
    at = 2 * len(drive) // 3 + 1234
    found = breaks(drive, fault(heard(drive, tone_hz, own_track=True), at), own_track=True)
    assert holds(found, at)
    assert min(one.start for one in found) > at - 3 * FRAME


@pytest.mark.parametrize("tone_hz", TONES_HZ)
def test_the_leap_of_the_tone_tells_how_many_samples_are_gone(tone_hz):
    drive = hold(tone_hz)
    (found,) = breaks(drive, cut(heard(drive, tone_hz, own_track=True), 300_000), own_track=True)
    # hum of a thousandth shifts the phase of a frame by as much, which is 1e-3 / (2 pi f / rate) samples, twice over
    allowance = 0.5 + 4 * 1e-3 * RATE_HZ / (2 * np.pi * tone_hz)
    assert found.samples == pytest.approx(-37, abs=allowance)


@pytest.mark.parametrize("fault", [cut, repeated])
def test_a_splice_is_found_behind_an_amplifier_as_well(fault):
    drive = hold(997.0)
    assert holds(breaks(drive, fault(heard(drive, 997.0, own_track=False), 300_000), own_track=False), 300_000)


def test_an_amplifier_that_warms_up_is_no_splice():
    drive = hold(997.0)
    lag_rad = 0.3 * (1 - np.exp(-np.arange(len(drive)) / (2 * RATE_HZ)))
    late = np.sin(2 * np.pi * 997.0 * np.arange(len(drive)) / RATE_HZ - lag_rad)
    for own_track in (True, False):
        assert breaks(drive, heard(late, 997.0, own_track=own_track), own_track=own_track) == ()


def test_an_amplifier_that_switches_off_and_on_is_no_splice():
    drive = hold(47.0)
    record = heard(drive, 47.0, own_track=False)
    record[200_000:260_000] *= 1e-4
    assert breaks(drive, record, own_track=False) == ()


def test_a_coupling_capacitor_is_no_splice():
    from scipy.signal import butter, sosfilt

    drive = bursts(47.0)
    coupled = sosfilt(butter(1, 3.0, "high", fs=RATE_HZ, output="sos"), drive)
    assert breaks(drive, heard(coupled, 47.0, own_track=True), own_track=True) == ()


@pytest.mark.parametrize("block", [1, 777, 100_000])
def test_how_it_is_cut_into_blocks_is_not_heard(block):
    drive = sine(997.0, 0.6)
    record = cut(heard(drive, 997.0, own_track=True), 20_000)
    short = slice(0, 57_000 if block > 1 else 30_000)
    assert breaks(drive[short], record[short], own_track=True, block=block) == breaks(
        drive[short], record[short], own_track=True
    )


def test_silence_and_short_records_have_no_breaks():
    assert breaks(np.zeros(50_000), np.zeros(50_000), own_track=True) == ()
    assert breaks(np.zeros(0), np.zeros(0), own_track=True) == ()
    assert breaks(sine(997.0, 0.05), sine(997.0, 0.05), own_track=True) == ()
