"""Drives: the samples are those of a closed form, whatever the blocks; what a conductor says takes effect smoothly."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wattproof.capture import BurstDrive, RampDrive, SilentDrive, ToneDrive
from wattproof.errors import RigError

RATE_HZ = 48000.0

DRIVES = {
    "silent": lambda: SilentDrive(seconds=0.2, outputs=("A",), rate_hz=RATE_HZ),
    "tone": lambda: ToneDrive(level_v_rms=0.7, seconds=0.3, tone_hz=47.0, outputs=("A", "B"), rate_hz=RATE_HZ),
    "ramp": lambda: RampDrive(
        start_v_rms=0.01, ceiling_v_rms=1.0, fast_db_per_s=150.0, slow_db_per_s=2.0, seconds_max=5.0, tone_hz=997.0,
        outputs=("A",), rate_hz=RATE_HZ,
    ),
    "burst": lambda: BurstDrive(
        level_v_rms=1.0, low_db=-20.0, cycles_on=2, cycles_period=8, bursts=3, tone_hz=211.0, outputs=("A",),
        rate_hz=RATE_HZ,
    ),
}  # fmt: skip


def all_of(drive, sizes=(480,)):
    """Ask for blocks of the sizes given, over and over, until the drive has finished."""
    blocks = []
    while not drive.finished:
        blocks.append(drive.block(sizes[len(blocks) % len(sizes)]))
        assert len(blocks) < 100_000
    return np.concatenate(blocks, axis=1)


@pytest.mark.parametrize("kind", sorted(DRIVES))
@given(sizes=st.lists(st.integers(1, 4000), min_size=1, max_size=5))
@settings(max_examples=15, deadline=None)
def test_a_split_into_blocks_changes_no_sample(kind, sizes):
    whole = DRIVES[kind]().block(40_000)
    split = all_of(DRIVES[kind](), sizes)[:, :40_000]
    assert np.array_equal(split, whole[:, : split.shape[1]])
    assert not whole[:, split.shape[1] :].any()


@pytest.mark.parametrize("kind", sorted(DRIVES))
def test_a_finished_drive_gives_zeros_and_ends_at_zero(kind):
    drive = DRIVES[kind]()
    made = all_of(drive, (64,))
    assert not drive.block(1000).any()
    assert abs(made[0, 0]) < 1e-12
    # Softly: no step between samples is larger than that of a full sine at its steepest (997 Hz is the highest here).
    assert np.abs(np.diff(made)).max() <= np.sqrt(2) * 2 * np.pi * 997 / RATE_HZ * 1.01


def test_a_tone_is_its_sine_between_its_soft_ends():
    drive = ToneDrive(level_v_rms=0.7, seconds=0.5, tone_hz=47.0, outputs=("A", "B"), rate_hz=RATE_HZ)
    made = all_of(drive)
    places = np.arange(made.shape[1])
    sine = 0.7 * np.sqrt(2) * np.sin(2 * np.pi * 47.0 * places / RATE_HZ)
    one_cycle = round(RATE_HZ / 47)  # the soft part: a cycle at 47 Hz is longer than 20 ms
    end = round(23 * RATE_HZ / 47)  # 0.5 s hold 23 whole cycles
    assert np.allclose(made[0, one_cycle : end - one_cycle], sine[one_cycle : end - one_cycle], atol=1e-12)
    assert not made[0, end:].any()
    assert np.array_equal(made[0], made[1])
    assert drive.level_v_rms_at(10_000) == pytest.approx(0.7)
    assert drive.level_v_rms_at(made.shape[1]) == 0.0


def test_a_new_level_is_glided_to():
    drive = ToneDrive(level_v_rms=0.5, seconds=2.0, tone_hz=997.0, outputs=("A",), rate_hz=RATE_HZ)
    before = drive.block(4800)
    drive.set_level_v_rms(1.0)
    after = drive.block(9600)
    made = np.concatenate([before, after], axis=1)[0]
    assert np.abs(made[2000:4800]).max() == pytest.approx(0.5 * np.sqrt(2), rel=1e-3)
    assert np.abs(made[6000:]).max() == pytest.approx(np.sqrt(2), rel=1e-3)
    assert np.abs(np.diff(made)).max() < np.sqrt(2) * 2 * np.pi * 997 / RATE_HZ * 1.01
    assert drive.level_v_rms_at(3000) == pytest.approx(0.5)  # what was, stays known
    assert drive.level_v_rms_at(4800 + 960 // 2) == pytest.approx(0.75, abs=0.01)  # half the glide of 20 cycles
    assert drive.level_v_rms_at(12_000) == pytest.approx(1.0)


def test_two_glides_that_overlap_end_at_the_last_level():
    drive = ToneDrive(level_v_rms=0.5, seconds=2.0, tone_hz=997.0, outputs=("A",), rate_hz=RATE_HZ)
    drive.block(4800)
    for level_v_rms in (1.0, 0.2):
        drive.set_level_v_rms(level_v_rms)
        drive.block(100)
    assert np.abs(drive.block(9600)[0, 2000:]).max() == pytest.approx(0.2 * np.sqrt(2), rel=1e-3)


def test_a_ramp_rises_by_its_slopes_and_its_level_has_no_step():
    drive = RampDrive(
        start_v_rms=0.01, ceiling_v_rms=1.0, fast_db_per_s=20.0, slow_db_per_s=2.0, seconds_max=9.0, tone_hz=47.0,
        outputs=("A",), rate_hz=RATE_HZ,
    )  # fmt: skip
    drive.block(48_000)
    drive.slow_down()
    drive.block(48_000)
    assert drive.slow_from == 48_000
    assert drive.level_v_rms_at(24_000) == pytest.approx(0.01 * 10 ** (10 / 20))
    assert drive.level_v_rms_at(48_000) == pytest.approx(0.01 * 10 ** (20 / 20))
    assert drive.level_v_rms_at(96_000) == pytest.approx(0.01 * 10 ** (22 / 20))


def test_a_ramp_keeps_the_phase_of_its_tone():
    drive = DRIVES["ramp"]()
    made = all_of(drive)[0]
    levels = np.array([drive.level_v_rms_at(n) for n in range(3000, 9000)])
    sine = np.sqrt(2) * np.sin(2 * np.pi * 997.0 * np.arange(3000, 9000) / RATE_HZ)
    assert np.allclose(made[3000:9000], levels * sine, atol=1e-9)


def test_a_ramp_ends_at_its_ceiling_at_its_time_and_when_told():
    def ramp(**changed):
        given = {"start_v_rms": 0.1, "ceiling_v_rms": 1.0, "fast_db_per_s": 20.0, "slow_db_per_s": 2.0}
        return RampDrive(**given | changed, seconds_max=3.0, tone_hz=997.0, outputs=("A",), rate_hz=RATE_HZ)

    soft_s = 20 / 997
    assert all_of(ramp()).shape[1] == pytest.approx((1.0 + soft_s) * RATE_HZ, abs=480)  # 20 dB at 20 dB/s
    assert all_of(ramp(fast_db_per_s=1.0)).shape[1] == pytest.approx(3.0 * RATE_HZ, abs=480)
    told = ramp()
    told.block(9600)
    told.finish()
    assert all_of(told).shape[1] == pytest.approx(soft_s * RATE_HZ, abs=480)
    assert np.abs(all_of(ramp())).max() <= np.sqrt(2)


def test_a_ramp_that_slows_still_ends_at_its_ceiling():
    drive = RampDrive(
        start_v_rms=0.1, ceiling_v_rms=1.0, fast_db_per_s=20.0, slow_db_per_s=10.0, seconds_max=9.0, tone_hz=997.0,
        outputs=("A",), rate_hz=RATE_HZ,
    )  # fmt: skip
    drive.block(24_000)  # 10 dB; the other 10 dB take a second
    drive.slow_down()
    assert all_of(drive).shape[1] == pytest.approx((1.0 + 20 / 997) * RATE_HZ, abs=480)


def test_bursts_hold_whole_cycles_at_two_levels():
    drive = DRIVES["burst"]()
    made = all_of(drive)[0]
    cycle = RATE_HZ / 211.0
    first = round(drive.lead_cycles * cycle)
    for burst in range(3):
        start = round(first + burst * 8 * cycle)
        high = made[start : start + round(2 * cycle)]
        low = made[start + round(2 * cycle) : start + round(8 * cycle)]
        assert np.sqrt(np.mean(high**2)) == pytest.approx(1.0, rel=0.005)
        assert np.sqrt(np.mean(low**2)) == pytest.approx(0.1, rel=0.005)
    assert np.abs(made[:first]).max() <= 0.1 * np.sqrt(2) + 1e-12
    assert np.abs(made[round(first + 24 * cycle) :]).max() <= 0.1 * np.sqrt(2)


def test_a_tone_past_half_the_sampling_rate_is_refused():
    with pytest.raises(RigError, match="24000"):
        ToneDrive(level_v_rms=1.0, seconds=1.0, tone_hz=24_000.0, outputs=("A",), rate_hz=RATE_HZ)


def test_a_ramp_from_nothing_is_refused_and_its_hint_cures_it():
    given = {"ceiling_v_rms": 1.0, "fast_db_per_s": 20.0, "slow_db_per_s": 2.0, "seconds_max": 1.0, "tone_hz": 47.0}
    with pytest.raises(RigError, match="can only rise"):
        RampDrive(start_v_rms=0.0, **given, outputs=("A",), rate_hz=RATE_HZ)
    assert RampDrive(start_v_rms=0.001, **given, outputs=("A",), rate_hz=RATE_HZ).block(480).any()
