"""Sessions at other loads and supply voltages, carried to common terms by fitted models; then told as text."""

import re
from functools import cache
from math import log10, sqrt

import numpy as np
import pytest

from wattproof.amplifier import Amplifier
from wattproof.fit import fit_behaviour
from wattproof.judge import Subject, Terms, compare
from wattproof.measure import CaptureResult, CurvePoint, Figure
from wattproof.quantity import BudgetLine, Quantity
from wattproof.report import comparison_text
from wattproof.testing.clipping import clipped_power, overdrive_at

THDS = (0.01, 0.03, 0.1)
SHARED_U, OWN_U = 0.004, 0.0008


class Heard:
    """A hard limit behind a resistance on a rail that follows the supply by a power; the truth in closed form."""

    def __init__(self, *, peak_v=50.0, exponent=0.8, output_ohm=0.15):
        self.peak_v, self.exponent, self.output_ohm = peak_v, exponent, output_ohm

    def power_w(self, load_ohm, supply_v, thd_n):
        peak_v = self.peak_v * (supply_v / 14.4) ** self.exponent * load_ohm / (load_ohm + self.output_ohm)
        return clipped_power(overdrive_at(thd_n)) * peak_v**2 / (2 * load_ohm)

    def drawn_w(self, power_w, load_ohm):
        amps = sqrt(power_w / load_ohm)
        return power_w + 12.0 + 1.1 * amps + 0.1 * amps**2


def ramp(amp, load_ohm, supply_v, *, bench, scale, rng):
    """Give a ramp's figures as read on a bench whose scale is off."""
    file = f"ramp-{load_ohm:g}-{supply_v:g}.wav"
    stated = {"frequency_hz": 47.0, "load_ohm": load_ohm, "supply_v": supply_v}
    figures = []
    for thd_n in THDS:
        read_w = amp.power_w(load_ohm, supply_v, thd_n) * (1 + scale) * (1 + OWN_U * rng.normal())
        sources = ((f"bench {bench} 1f: scales", SHARED_U, "B", None), (f"{file}: {thd_n}", OWN_U, "A", 40))
        budget = tuple(BudgetLine(source=s, label=s, u=u * read_w, type=kind, dof=dof) for s, u, kind, dof in sources)
        power = Quantity(value=read_w, u=read_w * sqrt(SHARED_U**2 + OWN_U**2), unit="W", budget=budget)
        figures.append(
            Figure(
                **dict(power), name=f"power_at_thd_{100 * thd_n:g}", origin=f"{file} 1-2 s",
                conditions={**stated, "thd_n": thd_n, "thd_basis": "total"},
            )
        )  # fmt: skip
    loudest_w = amp.power_w(load_ohm, supply_v, 0.01)
    efficiency = loudest_w / amp.drawn_w(loudest_w, load_ohm)
    figures.append(
        Figure(
            name="efficiency", value=efficiency, u=0.004 * efficiency, unit="W/W", output=None, origin=file,
            conditions={**stated, "thd_n": 0.01, "outputs_measured": 1},
        )
    )  # fmt: skip
    curve = [
        CurvePoint(
            t_s=float(share), load_power=share**2 * loudest_w, load_current_rms=share * sqrt(loudest_w / load_ohm),
            supply_power=amp.drawn_w(share**2 * loudest_w, load_ohm), supply_voltage=supply_v,
        )
        for share in np.linspace(0.1, 1.0, 12)
    ]  # fmt: skip
    return CaptureResult(file=file, kind="ramp", figures=tuple(figures), curve=tuple(curve))


@cache
def session(name, *, loads=(8.0, 4.0, 2.0), volts=(14.4, 12.5), bench="Boathouse bench", scale=0.0, seed=1, **amp):
    rng = np.random.default_rng(seed)
    results = tuple(
        ramp(Heard(**amp), load, supply, bench=bench, scale=scale, rng=rng) for supply in volts for load in loads
    )
    amplifier = Amplifier(
        maker="Saltmarsh & Daughter", model=name, price={"amount": 329, "currency": "GBP"}, size_mm=(310, 180, 52),
        mass_kg=3.4,
    )  # fmt: skip
    model = fit_behaviour(results, amplifier=name)
    return Subject(name=name, amplifier=amplifier, results=results, models=(model,), bench=bench)


def first_of(found, name="power_at_thd_1"):
    return next(one for one in found if one.name == name)


def test_powers_at_other_loads_and_voltages_come_to_the_ratio_that_is_true():
    one = session("Bittern 1")
    other = session("Heron 2", loads=(6.0, 3.0), volts=(13.8, 12.9), peak_v=44.0, exponent=0.3, seed=2)
    found = compare([one, other], terms=Terms(load_ohm=(4.0,), supply_v=13.5, thd_n=(0.01, 0.1)))
    for told, thd_n in zip(found.differences, (0.01, 0.1), strict=False):
        first, second = (amp.power_w(4.0, 13.5, thd_n) for amp in (Heard(), Heard(peak_v=44.0, exponent=0.3)))
        half = told.ratio.k95 * told.ratio.u
        assert abs(told.ratio.value - second / first) < half < 0.03
        assert told.distinguishable
    for value, amp in zip(found.rows[0].values, (Heard(), Heard(peak_v=44.0, exponent=0.3)), strict=True):
        low, high = value.quantity.interval95
        assert low < amp.power_w(4.0, 13.5, 0.01) < high
        assert value.basis == "carried by the model"
    # 12.5 and 14.4 V were measured: from the nearer, 14.4 V, down by the rail's own exponent
    assert found.rows[0].values[0].correction == pytest.approx((13.5 / 14.4) ** 1.6 - 1, abs=0.005)


def test_where_conditions_agree_nothing_is_carried():
    found = compare([session("Bittern 1"), session("Heron 2", peak_v=52.0, seed=3)])
    assert found.terms.load_ohm == (8.0, 4.0, 2.0)
    assert found.terms.supply_v == 14.4
    assert {value.basis for row in found.rows for value in row.values} == {"measured"}
    told = first_of(found.differences)
    assert told.ratio.value == pytest.approx((52 / 50) ** 2, rel=4 * OWN_U)
    assert told.ratio.u == pytest.approx((52 / 50) ** 2 * OWN_U * sqrt(2), rel=0.01)
    assert told.distinguishable


@pytest.mark.parametrize("exponent", [0.0, 0.5, 1.0])
def test_one_supply_voltage_only_is_bounded_and_holds_the_truth(exponent):
    one = session("Bittern 1", volts=(12.9,), exponent=exponent)
    found = compare([one, session("Heron 2")], terms=Terms(load_ohm=(4.0,), supply_v=14.0, thd_n=(0.01,)))
    value = found.rows[0].values[0]
    assert value.bounded
    low, high = value.quantity.interval95
    assert low < Heard(exponent=exponent).power_w(4.0, 14.0, 0.01) < high
    assert value.quantity.u / value.quantity.value > 0.03


@pytest.mark.parametrize(("load_ohm", "supply_v", "why"), [(1.0, 14.4, "lower load"), (4.0, 16.5, "beyond")])
def test_beyond_the_data_nothing_is_carried_and_within_them_it_is(load_ohm, supply_v, why):
    pair = [session("Bittern 1"), session("Heron 2", peak_v=52.0, seed=3)]
    found = compare(pair, terms=Terms(load_ohm=(load_ohm,), supply_v=supply_v, thd_n=(0.01,)))
    assert not [row for row in found.rows if row.name.startswith("power")]
    told = [one for one in found.not_compared if one.name == "power_at_thd_1"]
    assert [one.session for one in told] == ["Bittern 1", "Heron 2"]
    assert all(why in one.why and one.hint for one in told)
    within = compare(pair, terms=Terms(load_ohm=(2.5,), supply_v=13.5, thd_n=(0.01,)))
    assert not [one for one in within.not_compared if one.name == "power_at_thd_1"]


def test_one_amplifier_on_two_benches_agrees_where_their_scales_are_off_as_they_say_and_not_where_by_more():
    here = session("Bittern 1")
    as_said = session("Bittern 1", bench="Slipway bench", scale=SHARED_U, seed=5)
    worse = session("Bittern 1", bench="Slipway bench", scale=5 * SHARED_U, seed=5)
    terms = Terms(load_ohm=(4.0,), thd_n=(0.01,))
    good, bad = (first_of(compare([here, other], terms=terms).differences) for other in (as_said, worse))
    assert good.en <= 1 < bad.en
    expanded = 1.96 * sqrt(2) * SHARED_U * Heard().power_w(4.0, 14.4, 0.01)
    assert bad.difference.k95 * bad.difference.u == pytest.approx(expanded, rel=0.05)


def test_a_fitted_session_does_not_differ_from_itself_even_where_it_is_carried():
    one = session("Bittern 1")
    found = compare([one, one], terms=Terms(load_ohm=(3.0,), supply_v=13.3))
    assert found.differences
    for told in found.differences:
        assert (told.difference.value, told.distinguishable) == (0.0, False)
        assert told.en in {0.0, None}  # none for what the maker states
        assert told.difference.u == pytest.approx(0.0, abs=1e-9)


def test_an_efficiency_is_carried_and_its_interval_holds_the_truth():
    amp = Heard()
    found = compare([session("Bittern 1"), session("Heron 2", peak_v=52.0, seed=3)],
                    terms=Terms(load_ohm=(3.0,), supply_v=14.4, thd_n=(0.01,)))  # fmt: skip
    value = first_of(found.rows, "efficiency").values[0]
    power_w = amp.power_w(3.0, 14.4, 0.01)
    low, high = value.quantity.interval95
    assert value.basis == "carried by the model"
    assert low < power_w / amp.drawn_w(power_w, 3.0) < high


def test_nothing_but_the_channels_doubt_of_the_supply_voltage_moves_a_carried_power():
    """1 % of doubt of the volts is 1.6 % of power where it goes with their 1.6th power."""
    one = session("Bittern 1")
    volts = Figure(
        name="supply_voltage_min", value=14.0, u=0.14, unit="V", output=None, origin="a",
        budget=(BudgetLine(source="bench Boathouse bench 2c: scale of supply_voltage", label="s", u=0.14, type="B"),),
    )  # fmt: skip
    results = tuple(result.model_copy(update={"figures": (*result.figures, volts)}) for result in one.results)
    doubted = Subject(name="doubted", amplifier=one.amplifier, results=results, models=one.models, bench=one.bench)
    plain, wide = (
        compare([subject, subject], terms=Terms(load_ohm=(4.0,), supply_v=14.4, thd_n=(0.01,))).rows[0].values[0]
        for subject in (one, doubted)
    )
    added = sqrt(wide.quantity.u**2 - plain.quantity.u**2) / plain.quantity.value
    assert added == pytest.approx(0.016, rel=0.03)


# --- as text -------------------------------------------------------------------------------------------------------


def test_the_text_has_terms_columns_marks_and_differences():
    one = session("Bittern 1")
    other = session("Heron 2", loads=(6.0, 3.0), volts=(13.8, 12.9), peak_v=44.0, exponent=0.3, seed=2)
    found = compare([one, other], terms=Terms(load_ohm=(4.0,), supply_v=13.5, thd_n=(0.01, 0.1)))
    text = comparison_text(found)
    lines = text.splitlines()
    assert max(map(len, lines)) <= 120
    assert lines[2].startswith("Terms: 13.5 V at the amplifier's terminals; one output driven; distortion 1 %")
    assert any(re.match(r"S1  Bittern 1: Saltmarsh", line) for line in lines)
    row = next(line for line in lines if line.startswith("  Power at 1 % distortion, 4 ohm") and "±" in line)
    value = found.rows[0].values[0]
    assert f"{value.quantity.value:.1f} ±" in row
    assert row.count("*") == 2
    assert f"*{100 * value.correction:+.2g} %" in row or f"*{100 * value.correction:+.3g} %" in row
    assert "*  carried to these terms" in text
    ratio = found.differences[0].ratio.value
    told = next(line for line in lines if "lower in S2 than in S1" in line)
    assert f"({10 * log10(ratio):+.2f} dB)" in told


def test_the_text_says_what_cannot_be_told_apart_what_agrees_and_what_is_refused():
    here = session("Bittern 1")
    there = session("Bittern 1", bench="Slipway bench", volts=(14.0, 12.7), scale=SHARED_U, seed=5)
    text = comparison_text(compare([here, there], terms=Terms(load_ohm=(4.0, 1.0), supply_v=14.0, thd_n=(0.01,))))
    assert "not distinguishable: S2 over S1 is" in text
    assert re.search(r"En 0\.\d\d, agree", text)
    assert "Not on common terms" in text
    assert re.search(r"S2: Power at 1 % distortion, 1 ohm.*", text)
    assert "try: " in text
    many = comparison_text(compare([here, there, here, there, here], terms=Terms(load_ohm=(4.0,), thd_n=(0.01,))))
    assert max(map(len, many.splitlines())) <= 120
