"""The closed forms against sums, quadrature and published figures; flat tops with and without noise."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wattproof.dsp.clipping import (
    SQUARE_THD,
    clipped_crest_factor,
    clipped_fundamental,
    clipped_harmonic,
    clipped_power,
    clipped_thd,
    flat_top,
    highest_harmonic_in_band,
    overdrive_for_thd,
    thd_f_from_harmonics,
    thd_f_from_rms,
    thd_f_to_r,
    thd_r_to_f,
)
from wattproof.errors import MeasureError

CASES = Path(__file__).parents[3] / "shared" / "data" / "cases.jsonl"


def case(name):
    if not CASES.exists():
        pytest.skip("the shared cases are not here")
    found = [json.loads(line) for line in CASES.read_text().splitlines() if f'"id": "{name}"' in line]
    return found[0]["inputs"], found[0]["expected"]


def power_at(thd_f):
    return clipped_power(overdrive_for_thd(thd_f))


@pytest.mark.parametrize(
    ("thd_f", "overdrive_db", "power", "crest"),
    [
        (0.001, 0.04, 1.008, 1.409),
        (0.01, 0.25, 1.048, 1.382),
        (0.03, 0.67, 1.112, 1.341),
        (0.05, 1.08, 1.167, 1.309),
        (0.10, 2.17, 1.288, 1.246),
        (0.20, 4.9, 1.50, 1.155),
        (0.30, 8.9, 1.69, 1.088),
    ],
)
def test_the_table_of_the_rating_rule(thd_f, overdrive_db, power, crest):
    overdrive = overdrive_for_thd(thd_f)
    assert 20 * math.log10(overdrive) == pytest.approx(overdrive_db, abs=0.05 if thd_f > 0.15 else 0.005)
    assert clipped_power(overdrive) == pytest.approx(power, abs=0.005 if thd_f > 0.15 else 0.0006)
    assert clipped_crest_factor(overdrive) == pytest.approx(crest, abs=6e-4)


def test_clipping_ends_in_a_square_wave():
    far = 1e6  # edges of 2e-6 rad are left of its slopes
    assert clipped_power(far) == pytest.approx(2, rel=2e-6)
    assert clipped_crest_factor(far) == pytest.approx(1, rel=1e-6)
    assert clipped_fundamental(far) == pytest.approx(4 / math.pi, rel=1e-9)
    assert clipped_harmonic(5, far) == pytest.approx(4 / (5 * math.pi), rel=1e-9)
    assert clipped_thd(far) == pytest.approx(SQUARE_THD, rel=1e-5)


def test_it_begins_with_a_sine():
    assert (clipped_fundamental(1), clipped_power(1), clipped_thd(1)) == pytest.approx((1, 1, 0), abs=1e-15)
    assert clipped_harmonic(3, 1) == pytest.approx(0, abs=1e-15)
    assert overdrive_for_thd(0) == 1


@pytest.mark.parametrize("overdrive", [1.001, 1.2, 1.9999, 2.0001, 7.0])
def test_the_closed_forms_agree_with_a_wave_cut_off_sample_by_sample(overdrive):
    angle = 2 * np.pi * (np.arange(2**18) + 0.5) / 2**18
    wave = np.clip(overdrive * np.sin(angle), -1, 1)
    for order in (1, 2, 3, 5, 8, 13):
        assert clipped_harmonic(order, overdrive) == pytest.approx(2 * np.mean(wave * np.sin(order * angle)), abs=1e-8)
    assert clipped_power(overdrive) == pytest.approx(2 * np.mean(wave**2), rel=1e-8)
    total, first = math.sqrt(np.mean(wave**2)), math.sqrt(2) * np.mean(wave * np.sin(angle))
    assert clipped_thd(overdrive) == pytest.approx(thd_f_from_rms(total_rms=total, fundamental_rms=first), rel=1e-4)


@pytest.mark.parametrize("overdrive", [1.0001, 1.05, 1.5, 3.0, 20.0])
def test_thd_is_the_sum_of_the_harmonics(overdrive):
    harmonics = [clipped_harmonic(order, overdrive) for order in range(1, 4001, 2)]
    # harmonics of a bend fall with 1/n² from the order 1/α on: the rest holds (1 / (4000 α))³ of their power, α > 0.014
    assert clipped_thd(overdrive) == pytest.approx(thd_f_from_harmonics(harmonics), rel=5e-6)


def test_next_to_no_clipping_follows_the_fifth_power_of_the_angle():
    excess = 1e-10  # mean square of the cut-off parabola: 4 α⁵ / (15 π)
    alpha = math.sqrt(2 * ((1 + excess) - 1))
    assert clipped_thd(1 + excess) == pytest.approx(math.sqrt(2 * 4 * alpha**5 / (15 * math.pi)), rel=1e-4)


@settings(max_examples=50, deadline=None)
@given(thd_f=st.floats(1e-9, 0.483))
def test_the_inverse_undoes_the_forward_way(thd_f):
    assert clipped_thd(overdrive_for_thd(thd_f)) == pytest.approx(thd_f, rel=1e-6)


@given(overdrives=st.lists(st.floats(1, 1e6), min_size=2, max_size=2).map(sorted))
def test_more_drive_never_gives_less_power_or_less_distortion(overdrives):
    less, more = overdrives
    assert clipped_power(less) <= clipped_power(more) + 1e-12
    assert clipped_thd(less) <= clipped_thd(more) + 1e-9
    assert clipped_fundamental(less) <= clipped_fundamental(more) + 1e-12


def test_following_the_hint_about_too_much_distortion_cures_the_error():
    with pytest.raises(MeasureError) as refused:
        overdrive_for_thd(0.5)
    percent = float(refused.value.hint.split("limit of ")[1].split(" %")[0])
    assert overdrive_for_thd(percent / 100) > 1


def test_less_than_no_overdrive_is_a_mistake_of_the_caller():
    with pytest.raises(ValueError, match="does not clip"):
        clipped_power(0.99)


def test_power_at_one_limit_over_another():
    assert power_at(0.01) / power_at(0.001) == pytest.approx(1.0394, abs=1e-3)
    assert power_at(0.10) / power_at(0.005) == pytest.approx(1.253, abs=1e-3)
    assert power_at(0.10) / power_at(0.01) == pytest.approx(1.229, abs=2e-3)


@pytest.mark.shared
def test_the_shared_case_of_two_clip_definitions():
    inputs, expected = case("P12")
    ratio = power_at(inputs["clip_at_thd_b"]["value"] / 100) / power_at(inputs["clip_at_thd_a"]["value"] / 100)
    wanted = expected["ratio_if_pure_hard_clip"]
    assert ratio == pytest.approx(wanted["value"], abs=wanted["tol"])
    reported = expected["ratio_reported"]
    assert inputs["p_b"]["value"] / inputs["p_a"]["value"] == pytest.approx(reported["value"], abs=reported["tol"])


@pytest.mark.shared
def test_the_shared_case_of_the_factor_1_25():
    inputs, expected = case("D02")
    at_b = power_at(inputs["thd_b"]["value"] / 100)
    for key, thd_f in (("p10_over_p0p5", inputs["thd_a"]["value"] / 100), ("p10_over_p1", 0.01)):
        assert at_b / power_at(thd_f) == pytest.approx(expected[key]["value"], abs=expected[key]["tol"])


CLIP_LEVELS = {0.95: (0.0192, 1.079), 0.9: (0.0422, 1.146), 0.8: (0.0898, 1.264), 0.4: (0.2809, 1.655)}


@pytest.mark.parametrize("level", CLIP_LEVELS)
def test_clip_level_to_distortion_and_power(level):
    thd_f, power = CLIP_LEVELS[level]
    assert clipped_thd(1 / level) == pytest.approx(thd_f, abs=2e-4)
    assert clipped_power(1 / level) == pytest.approx(power, abs=2e-3)


@pytest.mark.shared
def test_the_shared_case_of_clip_levels():
    inputs, expected = case("T02")
    thd, power = expected["thd_f"], expected["power_vs_largest_clean_sine"]
    levels = inputs["clip_level_over_unclipped_peak"]
    assert [100 * clipped_thd(1 / level) for level in levels] == pytest.approx(thd["value"], abs=thd["tol"])
    assert [clipped_power(1 / level) for level in levels] == pytest.approx(power["value"], abs=power["tol"])


def textbook_waves():
    """Amplitudes of the harmonics 1, 2, 3 ... of square, sawtooth, triangle and pulse trains."""
    n = np.arange(1, 200_001)
    odd = n % 2
    pulse = {duty: np.sin(np.pi * n * duty) / n for duty in (0.5, 0.25)}
    return (odd / n, 1 / n, odd / n**2), (pulse[0.5], pulse[0.25])


def test_thd_of_textbook_waves():
    waves, pulses = textbook_waves()
    assert [100 * thd_f_from_harmonics(wave) for wave in waves] == pytest.approx([48.34, 80.31, 12.12], abs=0.01)
    assert [100 * thd_f_from_harmonics(wave) for wave in pulses] == pytest.approx([48.34, 92.23], abs=0.01)
    assert 100 * thd_f_from_rms(total_rms=1, fundamental_rms=4 / math.pi / math.sqrt(2)) == pytest.approx(
        100 * SQUARE_THD
    )


@pytest.mark.shared
def test_the_shared_case_of_textbook_waves():
    inputs, expected = case("T01")
    assert inputs["waves"] == ["square", "sawtooth", "triangle"]
    waves, pulses = textbook_waves()
    for found, key in ((waves, "thd_f"), (pulses, "pulse_train_thd_f")):
        ratios = [100 * thd_f_from_harmonics(wave) for wave in found]
        assert ratios == pytest.approx(expected[key]["value"], abs=expected[key]["tol"])


def test_a_list_of_harmonics_and_the_two_references():
    assert 100 * thd_f_from_harmonics([1175.6, 43.7, 22.1, 17.3, 12.7]) == pytest.approx(4.548, abs=0.002)
    assert 100 * thd_f_to_r(0.20) == pytest.approx(19.61, abs=0.01)
    assert 100 * thd_f_to_r(0.30) == pytest.approx(28.7, abs=0.05)


@pytest.mark.shared
def test_the_shared_cases_of_harmonic_lists():
    inputs, expected = case("T05")
    wanted = expected["thd_f"]
    assert 100 * thd_f_from_harmonics(inputs["magnitudes"]) == pytest.approx(wanted["value"], abs=wanted["tol"])
    inputs, expected = case("T06")
    thd_f = thd_f_from_harmonics([inputs["v1"]["value"], inputs["v3"]["value"]])
    assert 100 * thd_f == pytest.approx(expected["thd_f"]["value"], abs=expected["thd_f"]["tol"])
    assert 100 * thd_f_to_r(thd_f) == pytest.approx(expected["thd_r"]["value"], abs=expected["thd_r"]["tol"])


@given(thd_f=st.floats(0, 100))
def test_the_two_references_convert_back_and_forth(thd_f):
    assert thd_r_to_f(thd_f_to_r(thd_f)) == pytest.approx(thd_f, rel=1e-9)


@pytest.mark.parametrize(("tone_hz", "order"), [(40, 500), (1000, 20), (6666, 3), (7000, 2), (10_001, 1), (20_001, 0)])
def test_the_last_harmonic_in_the_band(tone_hz, order):
    assert highest_harmonic_in_band(tone_hz, high_hz=20_000) == order


@pytest.mark.shared
def test_the_shared_case_of_harmonics_in_a_band():
    inputs, expected = case("T11")
    found = [highest_harmonic_in_band(f["value"], high_hz=inputs["bandwidth"]["value"]) for f in inputs["f0"]]
    assert found == expected["highest_harmonic_inside"]["value"]


def tone(*, n=48_000, noise=0.0, overdrive=0.9, seed=0):
    wave = np.clip(overdrive * np.sin(2 * np.pi * 47 * np.arange(n) / 48_000), -1, 1)
    return wave + noise * np.random.default_rng(seed).normal(size=n)


@pytest.mark.parametrize("noise", [0, 1e-4, 1e-3, 3e-3, 1e-2, 0.1, 1.0])
def test_noise_never_makes_a_sine_look_clipped(noise):
    found = flat_top(tone(noise=noise))
    assert not found.clipped
    if noise == 0:
        assert found.ratio == pytest.approx(1, abs=0.01)


@pytest.mark.parametrize(("thd_f", "noise"), [(0.007, 0), (0.01, 0), (0.01, 3e-3), (0.03, 1e-2), (0.1, 1e-2), (0.4, 0)])
def test_clipping_is_seen_in_the_wave(thd_f, noise):
    assert flat_top(tone(overdrive=overdrive_for_thd(thd_f), noise=noise)).clipped


def test_the_time_at_the_top_is_that_of_geometry():
    overdrive = overdrive_for_thd(0.10)
    found = flat_top(tone(overdrive=overdrive))
    assert found.upper == pytest.approx(math.acos(0.98 / overdrive) / math.pi, abs=1e-3)
    assert found.lower == pytest.approx(found.upper, abs=1e-3)


def test_one_sided_clipping_is_seen_on_its_side():
    found = flat_top(np.maximum(tone(), -0.85))
    assert found.clipped
    assert found.lower > 1.3 * found.sine > found.upper


def test_a_soft_bend_is_not_called_clipping():
    angle = 2 * np.pi * 47 * np.arange(48_000) / 48_000
    assert not flat_top(np.sin(angle) + 0.03 * np.sin(3 * angle)).clipped


@settings(max_examples=30, deadline=None)
@given(scale=st.floats(1e-3, 1e3), offset=st.floats(-1, 1))
def test_flatness_knows_no_scale_polarity_or_offset(scale, offset):
    wave = tone(overdrive=1.1, noise=1e-3)
    before, after = flat_top(wave), flat_top(-scale * (wave + offset))
    assert (after.upper, after.lower) == pytest.approx((before.lower, before.upper), abs=1e-4)
