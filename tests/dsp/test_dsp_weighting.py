"""The weightings against the standards' own tables and the known answers for white noise."""

import json
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import quad

from wattproof.dsp.spectrum import band_power, spectrum_of
from wattproof.dsp.weighting import a_weighting, c_weighting, itu_r_468, itu_r_468_rms

CASES = Path(__file__).parents[3] / "shared" / "data" / "cases.jsonl"

A_TABLE_DB = {20: -50.5, 31.5: -39.4, 50: -30.2, 63: -26.2, 100: -19.1, 125: -16.1, 200: -10.9, 250: -8.6, 500: -3.2}
A_TABLE_DB |= {1000: 0, 2000: 1.2, 4000: 1.0, 5000: 0.5, 6300: -0.1, 8000: -1.1, 10_000: -2.5, 12_500: -4.3}
A_TABLE_DB |= {16_000: -6.6, 20_000: -9.3}
C_TABLE_DB = {20: -6.2, 31.5: -3.0, 63: -0.8, 125: -0.2, 250: 0, 1000: 0, 4000: -0.8, 8000: -3.0, 16_000: -8.5}
NOISE_TABLE_DB = {31.5: -29.9, 63: -23.9, 100: -19.8, 200: -13.8, 400: -7.8, 800: -1.9, 1000: 0, 2000: 5.6}
NOISE_TABLE_DB |= {3150: 9.0, 4000: 10.5, 5000: 11.7, 6300: 12.2, 7100: 12.0, 8000: 11.4, 9000: 10.1, 10_000: 8.1}
NOISE_TABLE_DB |= {12_500: 0, 14_000: -5.3, 16_000: -11.7, 20_000: -22.2, 31_500: -42.7}


def exact_hz(nominal_hz):
    """The third-octave mid frequency that a table's rounded label stands for."""
    return 1000 * 10 ** (np.round(10 * np.log10(np.asarray(nominal_hz, dtype=float) / 1000)) / 10)


def db(ratio):
    return 20 * np.log10(ratio)


def case(name):
    if not CASES.exists():
        pytest.skip("the shared cases are not here")
    found = [json.loads(line) for line in CASES.read_text().splitlines() if f'"id": "{name}"' in line]
    return found[0]["inputs"], found[0]["expected"]


def test_a_is_within_the_tables_rounding():
    np.testing.assert_allclose(db(a_weighting(exact_hz(list(A_TABLE_DB)))), list(A_TABLE_DB.values()), atol=0.06)


def test_c_is_within_the_tables_rounding():
    np.testing.assert_allclose(db(c_weighting(exact_hz(list(C_TABLE_DB)))), list(C_TABLE_DB.values()), atol=0.06)


def test_468_is_within_a_tenth_of_a_decibel_of_its_table():
    np.testing.assert_allclose(db(itu_r_468(np.array(list(NOISE_TABLE_DB)))), list(NOISE_TABLE_DB.values()), atol=0.1)


@pytest.mark.shared
def test_the_shared_case_of_a():
    inputs, expected = case("N03")
    levels_db = db(a_weighting(exact_hz(inputs["nominal_f"])))
    np.testing.assert_allclose(levels_db, expected["a_dB"]["value"], atol=expected["a_dB"]["tol"])


@pytest.mark.shared
def test_the_shared_case_of_468():
    inputs, expected = case("N04")
    levels_db = db(itu_r_468(np.array(inputs["f"], dtype=float)))
    np.testing.assert_allclose(levels_db, expected["w_dB"]["value"], atol=expected["w_dB"]["tol"])


def test_the_reference_frequencies_read_one():
    assert a_weighting(np.array(1000.0)) == 1
    assert c_weighting(np.array(1000.0)) == 1
    assert itu_r_468(np.array(1000.0)) == pytest.approx(1, rel=5e-3)  # its 18.2 dB has one decimal
    assert db(itu_r_468_rms(np.array(2000.0))) == pytest.approx(0, abs=0.05)


def test_nothing_passes_at_dc():
    at_dc = np.array([0.0])
    assert a_weighting(at_dc) == c_weighting(at_dc) == itu_r_468(at_dc) == 0


@pytest.mark.parametrize(("weighting", "change_db"), [(a_weighting, -2.05), (itu_r_468, 7.26)])
def test_white_noise_changes_by_the_known_amount(weighting, change_db):
    integral, _ = quad(lambda f: float(weighting(np.array(f))) ** 2, 20, 20_000, limit=200)
    assert 10 * np.log10(integral / 19_980) == pytest.approx(change_db, abs=0.01)
    spectrum = spectrum_of(np.random.default_rng(1).normal(size=480_000), rate_hz=48_000)
    plain, weighted = (band_power(spectrum, low_hz=20, high_hz=20_000, weighting=w) for w in (None, weighting))
    assert 10 * np.log10(weighted / plain) == pytest.approx(change_db, abs=0.06)  # 2·10⁵ bins: 0.015 dB rms
