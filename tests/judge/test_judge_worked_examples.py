"""Worked examples of JCGM 106 and JCGM 100 through the verdict itself, and an account of all published cases."""

import json
import re
from math import sqrt
from pathlib import Path

import pytest

from wattproof.judge import Rule
from wattproof.judge.conformity import chance_text, guard_factor, probability_conforms, verdict_of
from wattproof.quantity import Ledger, Quantity

TESTS = Path(__file__).parents[1]
CASES = TESTS.parent.parent / "shared" / "data" / "cases.jsonl"
shared = pytest.mark.shared
where_they_are = pytest.mark.skipif(not CASES.exists(), reason="the cases that stand beside the project are absent")


def read_cases():
    return {case["id"]: case for case in map(json.loads, CASES.read_text(encoding="utf-8").splitlines())}


# JCGM 106:2012, 7.4 and 7.5: a breakdown voltage of at most -5.40 V, and a pressure of at least 490 kPa
@pytest.mark.parametrize(
    ("value", "u", "limit", "sense", "chance", "verdict"),
    [
        (-5.47, 0.05, -5.40, "at most", 0.92, "cannot tell"),
        (509.7, 8.6, 490.0, "at least", 0.99, "meets"),
    ],
)
def test_one_sided_examples_of_jcgm_106(value, u, limit, sense, chance, verdict):
    found = probability_conforms(Quantity(value=value, u=u, unit="V"), limit, sense)
    assert found == pytest.approx(chance, abs=0.005)
    assert verdict_of(found, Rule()) == verdict


# JCGM 106:2012, table 1: (limit - estimate)/u at which a one-sided tolerance is conformed to with a probability
@pytest.mark.parametrize(("chance", "z"), [(0.80, 0.84), (0.90, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09)])
def test_guard_bands_are_those_of_the_table_of_jcgm_106(chance, z):
    figure = Quantity(value=100.0, u=1.0, unit="W")
    assert guard_factor(figure, Rule(confidence=chance)) == pytest.approx(z, abs=0.006)
    assert probability_conforms(figure, 100.0 - z, "at least") == pytest.approx(chance, abs=0.003)


def test_a_guard_band_of_twice_u_leaves_two_in_a_hundred():
    # JCGM 106, 8.3.2: with w = 2u at most 2.3 % of what is accepted at the edge is out of tolerance
    figure = Quantity(value=102.0, u=1.0, unit="W")
    assert 1 - probability_conforms(figure, 100.0, "at least") == pytest.approx(0.023, abs=0.0005)


def test_risks_of_a_guarded_rule_over_a_production_are_those_of_the_bivariate_normal():
    """JCGM 106, clause 9: over products and measurements together, by quadrature and from the verdicts."""
    import numpy as np
    from scipy.integrate import quad
    from scipy.stats import norm

    spread, u, limit = 3.0, 1.0, 97.0
    accept_from = limit + guard_factor(Quantity(value=limit, u=u, unit="W"), Rule()) * u
    consumer, _ = quad(lambda true: norm.pdf(true, 100, spread) * norm.sf(accept_from, true, u), 70, limit)
    producer, _ = quad(lambda true: norm.pdf(true, 100, spread) * norm.cdf(accept_from, true, u), limit, 130)
    rng, n = np.random.default_rng(2031), 6_000
    true = rng.normal(100, spread, n)
    met = np.array(
        [
            verdict_of(probability_conforms(Quantity(value=read, u=u, unit="W"), limit, "at least"), Rule()) == "meets"
            for read in rng.normal(true, u)
        ]
    )
    for seen, told in ((met & (true < limit), consumer), (~met & (true >= limit), producer)):
        assert seen.mean() == pytest.approx(told, abs=4 * sqrt(told * (1 - told) / n))
    assert consumer < 0.003  # far below the 5 % that one product exactly at the limit has


def test_gum_h1_through_the_ledger_and_to_a_verdict():
    """JCGM 100, H.1: the length of an end gauge, from its model equation; figures typed from the published example."""
    ledger = Ledger()

    def source(name, value, u, dof):
        return ledger.source(name, value, u, label=name, kind="B", dof=dof)

    standard = source("standard", 50.000623e-3, 25e-9, 18)
    difference = (
        source("comparison", 215e-9, 5.8e-9, 24)
        + source("comparator, random", 0.0, 3.9e-9, 5)
        + source("comparator, systematic", 0.0, 6.7e-9, 8)
    )
    expansion_apart = source("difference of expansion", 0.0, 0.58e-6, 50)
    warmth_apart = source("difference of temperature", 0.0, 0.029, 2)
    expansion, warmth = 11.5e-6, -0.1
    length = standard + difference - standard * (expansion_apart * warmth + expansion * warmth_apart)
    found = ledger.quantity(length, unit="m")
    assert found.value == pytest.approx(50.000838e-3, abs=0.5e-9)
    assert 1e9 * found.u == pytest.approx(32, abs=0.5)
    assert found.dof == pytest.approx(16, abs=1)
    shares = {line.label: 1e9 * line.u for line in found.budget}
    assert shares["difference of expansion"] == pytest.approx(2.9, abs=0.05)
    assert shares["difference of temperature"] == pytest.approx(16.6, abs=0.15)
    # 99 % two-sided is 93 nm: a limit as far away is conformed to with 99.5 %
    rounded = found.model_copy(update={"dof": 16.0})
    assert probability_conforms(rounded, found.value + 93e-9, "at most") == pytest.approx(0.995, abs=5e-4)


def test_chances_are_written_to_two_digits_of_the_smaller_side():
    said = {
        0.00005: "under 0.1 %",
        0.0042: "0.42 %",
        0.047: "4.7 %",
        0.5: "50 %",
        0.953: "95.3 %",
        0.9996: "over 99.9 %",
    }
    assert {chance: chance_text(chance) for chance in said} == said


@shared
@where_they_are
@pytest.mark.parametrize("name", ["G04", "G05"])
def test_g04_and_g05_as_the_shared_cases_state_them(name):
    case = read_cases()[name]
    inputs = {key: one["value"] for key, one in case["inputs"].items()}
    sense = "at most" if "upper_limit" in inputs else "at least"
    limit = inputs.get("upper_limit", inputs.get("lower_limit"))
    figure = Quantity(value=inputs["estimate"], u=inputs["u"], unit=case["inputs"]["u"]["unit"])
    expected = case["expected"]["p_conform"]
    assert probability_conforms(figure, limit, sense) == pytest.approx(expected["value"], abs=expected["tol"])


FIT, SHEET, TYPED = (
    "fit/test_fit_cases.py",
    "judge/test_judge_plausible_cases.py",
    "measure/test_measure_typed_cases.py",
)
COVERED = {
    "P01": (TYPED,), "P02": (SHEET, TYPED), "P03": (TYPED,), "P05": (TYPED,), "P06": (SHEET, TYPED), "P07": (SHEET,),
    "P09": ("measure/test_measure_burst.py",), "P11": ("measure/test_measure_burst.py",),
    "P12": (FIT, SHEET, "dsp/test_dsp_clipping.py"),
    "S01": (FIT, SHEET), "S02": (FIT,), "S05": (FIT, SHEET, TYPED), "S06": (FIT, SHEET, TYPED), "S08": (SHEET, TYPED),
    "F01": (SHEET,), "F03": (SHEET,), "C01": (FIT,), "C04": (FIT,),
    "D02": (FIT, SHEET, "dsp/test_dsp_clipping.py"), "D03": (FIT,), "D05": (FIT, SHEET), "D07": (FIT, SHEET, TYPED),
    "D08": (SHEET,), "N01": (SHEET,), "Z01": (SHEET, TYPED), "Z02": (SHEET, TYPED), "E05": (TYPED,),
    "G01": (TYPED,), "G02": (TYPED,), "G04": ("judge/test_judge_worked_examples.py",),
    "G05": ("judge/test_judge_worked_examples.py",),
}  # fmt: skip
"""Which test files hold the cases of claims, models, supplies, fuses, cables and uncertainty."""
OTHERS = re.compile(r"T\d+|N0[34]|K\d+|M\d+|B\d+|L\d+|E0[123]|C02")
"""Of distortion, weighting, files and meters, which other rooms hold; and of loudspeakers, batteries and wire sizes."""


def uncovered(names):
    """Give the cases that are neither held by the tests that are said to, nor another room's."""
    missing = []
    for name in names:
        files = COVERED.get(name, ())
        named = [
            re.search(rf"\b{name}\b|_{name.lower()}_", (TESTS / file).read_text(encoding="utf-8")) for file in files
        ]
        if not all(named) or not (files or OTHERS.fullmatch(name)):
            missing.append(name)
    return missing


@shared
@where_they_are
def test_every_case_of_a_claim_model_supply_fuse_or_uncertainty_is_held_by_a_test():
    names = list(read_cases())
    assert not uncovered(names)
    assert set(COVERED) <= set(names)
    # the account finds one that nobody holds
    assert uncovered([*names, "F99"]) == ["F99"]
