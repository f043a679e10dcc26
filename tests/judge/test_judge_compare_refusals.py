"""What is not on common terms is refused with its reason; each refusal can fire, and its hint cures it."""

from math import hypot, sqrt

import pytest

from wattproof.amplifier import Amplifier
from wattproof.judge import Subject, Terms, compare
from wattproof.measure import CaptureResult, CurvePoint, Figure
from wattproof.quantity import BudgetLine

STATED = {"load_ohm": 4.0, "supply_v": 14.4, "frequency_hz": 47.0}
BITTERN = {"maker": "Saltmarsh & Daughter", "model": "Bittern 1"}
GBP, EUR = {"amount": 300, "currency": "GBP"}, {"amount": 300, "currency": "EUR"}


def figure(name, value, *, unit="W", output="A", relative=0.001, origin="a.wav 1-2 s", **conditions):
    u = relative * abs(value)
    line = BudgetLine(source=f"{origin} {name} {conditions}", label="scatter", u=u, type="A")
    return Figure(
        name=name, value=value, u=u, unit=unit, output=output, budget=(line,), origin=origin,
        conditions={key: stated for key, stated in conditions.items() if stated is not None},
    )  # fmt: skip


def capture(*figures, kind="ramp", **more):
    return CaptureResult(file="a.wav", kind=kind, figures=figures, **more)


def ramp(value=100.0, *, outputs="A", **conditions):
    stated = {**STATED, "thd_n": 0.01, **conditions}
    return capture(*(figure("power_at_thd_1", value, output=output, **stated) for output in outputs))


def typed(value=100.0, *, thd_n=0.01, **conditions):
    power = figure("load_power", value, **{**STATED, **conditions})
    told = [] if thd_n is None else [figure("thd_n", thd_n, unit="V/V")]
    return capture(power, *told, kind="readings")


def idle(amps=1.0, volts=14.4):
    return capture(
        figure("idle_current", amps, unit="A", output=None),
        figure("supply_voltage", volts, unit="V", output=None),
        kind="idle",
    )


def gain(**conditions):
    return capture(figure("gain", 20.0, unit="V/V", **{**STATED, **conditions}), kind="steady")


def noise(band_hz=(20.0, 20000.0), volts=1e-4):
    return capture(figure("noise_rms", volts, unit="V", weighting="none", bandwidth_hz=band_hz), kind="idle")


def hold(*powers, times_s=(1.0, 60.0), **conditions):
    return capture(
        *(
            figure("sustained_power", value, **{**STATED, "at_s": at_s, **conditions})
            for value, at_s in zip(powers, times_s, strict=True)
        ),
        kind="hold",
    )


NOTHING_MORE = ({}, {})


def beside(one, other, *, amplifiers=NOTHING_MORE, **terms):
    """Compare two sessions of lists of captures."""
    subjects = [
        Subject(name=name, amplifier=Amplifier(**{**BITTERN, **more}), results=results, bench="Boathouse bench")
        for name, results, more in zip(("first", "second"), (one, other), amplifiers, strict=True)
    ]
    return compare(subjects, terms=Terms(**{"thd_n": (0.01,), **terms}))


def refused(found, name):
    return [one for one in found.not_compared if one.name == name]


REFUSALS = {
    "no-supply": ([ramp(supply_v=None)], [ramp()], "power_at_thd_1", "supply voltage was not recorded"),
    "no-load": ([ramp(load_ohm=None)], [ramp()], "power_at_thd_1", "load is not known"),
    "no-limit": ([typed(thd_n=None)], [typed()], "power_at_thd_1", "distortion at which it was read"),
    "below-the-limit": ([typed(thd_n=0.0004)], [typed()], "power_at_thd_1", "below the limit"),
    "no-power": ([idle()], [ramp()], "power_at_thd_1", "no figure tells a power"),
    "others-driven": ([ramp(outputs="AB")], [ramp()], "power_at_thd_1", "driven at once"),
    "another-supply": ([ramp(supply_v=13.7)], [ramp()], "power_at_thd_1", "no model carries it"),
    "another-limit": ([typed(thd_n=0.05)], [typed()], "power_at_thd_1", "no model carries it"),
    "idle-elsewhere": ([idle(volts=13.0)], [idle()], "idle_current", "conditions differ"),
    "gain-at-another-tone": ([gain(frequency_hz=997.0)], [gain()], "gain", "frequency differs: 997 Hz and 47 Hz"),
    "noise-in-another-band": ([noise((20.0, 80000.0))], [noise()], "noise_rms", "band differs"),
    "held-less-hard": (
        [ramp(), hold(50.0, 49.0)],
        [ramp(), hold(97.0, 95.0)],
        "sustained_power",
        "level when the hold began differs",
    ),
    "held-nobody-knows-how": ([hold(97.0, 95.0)], [ramp(), hold(97.0, 95.0)], "sustained_power", "how hard"),
}
CURES = {
    "no-supply": [ramp(supply_v=14.4)],
    "no-load": [ramp(load_ohm=4.0)],
    "no-limit": [typed(thd_n=0.01)],
    "below-the-limit": [typed(thd_n=0.01)],
    "no-power": [idle(), ramp()],
    "others-driven": [ramp(outputs="AB"), ramp(outputs="A")],
    "another-supply": [ramp(supply_v=14.37)],
    "another-limit": [typed(thd_n=0.0099)],
    "idle-elsewhere": [idle(volts=14.3)],
    "gain-at-another-tone": [gain(frequency_hz=47.5)],
    "noise-in-another-band": [noise((20.5, 20100.0))],
    "held-less-hard": [ramp(), hold(99.0, 97.0)],
    "held-nobody-knows-how": [ramp(), hold(97.0, 95.0)],
}


@pytest.mark.parametrize("case", REFUSALS)
def test_what_is_not_alike_is_refused_and_the_cure_is_none(case):
    one, other, name, why = REFUSALS[case]
    terms = {"load_ohm": (4.0,), "supply_v": 14.4, "driven": 1}
    found = beside(one, other, **terms)
    assert any(why in told.why for told in refused(found, name))
    assert all(told.hint for told in refused(found, name))
    assert not [told for told in found.differences if told.name == name]
    cured = beside(CURES[case], other, **terms)
    assert refused(cured, name) == []
    assert [told.name for told in cured.differences].count(name) == 1


@pytest.mark.parametrize("other", ["minimum", "maximum"])
def test_a_control_in_another_position_forbids_gain_and_noise_but_no_power(other):
    sessions = [ramp(), gain(), noise()]
    controls = ({"controls": {"gain": "minimum"}}, {"controls": {"gain": other}})
    found = beside(sessions, sessions, amplifiers=controls)
    names = {told.name for told in found.differences}
    assert "power_at_thd_1" in names
    assert ({"gain", "noise_rms"} <= names) is (other == "minimum")
    assert bool(refused(found, "gain")) is (other == "maximum")
    assert any("control" in remark for remark in found.remarks) is (other == "maximum")


def test_small_differences_of_conditions_widen_the_doubt_by_the_most_they_can_do():
    found = beside([ramp(load_ohm=4.04)], [ramp()], load_ohm=(4.0,))
    told = next(one for one in found.differences if one.name == "power_at_thd_1")
    assert told.difference.u == pytest.approx(hypot(0.1, 0.1, 100 * 0.00995 / sqrt(3)), rel=1e-3)
    assert found.rows[0].values[0].basis == "measured"


def test_what_was_not_measured_in_one_session_is_said_of_that_one():
    found = beside([ramp(), idle()], [ramp()])
    (told,) = refused(found, "idle_current")
    assert (told.session, told.why) == ("second", "it was not measured")
    assert not refused(beside([ramp()], [ramp()]), "idle_current")


# --- cost, size, mass, current -------------------------------------------------------------------------------------

WHOLE = {"price": GBP, "size_mm": (310, 180, 52), "mass_kg": 3.4}


def drawn(efficiency=0.8, **conditions):
    stated = {**STATED, "thd_n": 0.01, "outputs_measured": 1, **conditions}
    return capture(
        figure("power_at_thd_1", 100.0, **{**STATED, "thd_n": 0.01}),
        figure("efficiency", efficiency, unit="W/W", output=None, **stated),
    )


def test_a_verified_watt_has_a_price_a_volume_a_mass_and_a_current():
    found = beside([drawn()], [drawn()], amplifiers=(WHOLE, WHOLE))
    values = {row.name: row.values[0].quantity for row in found.rows}
    assert values["price_per_watt"].value == pytest.approx(3.0)
    assert values["price_per_watt"].u == pytest.approx(0.003)
    assert values["price_per_watt"].unit == "GBP/W"
    assert values["watts_per_litre"].value == pytest.approx(100 / (0.310 * 0.180 * 0.052 * 1000))
    edges = [1 / sqrt(12) / edge for edge in (310, 180, 52)]
    assert values["watts_per_litre"].u / values["watts_per_litre"].value == pytest.approx(hypot(0.001, *edges))
    assert values["watts_per_kilogram"].value == pytest.approx(100 / 3.4)
    assert values["watts_per_kilogram"].u / (100 / 3.4) == pytest.approx(hypot(0.001, 0.1 / sqrt(12) / 3.4))
    # 100 W out of 125 W drawn at 14.4 V: 8.68 A
    assert values["watts_per_supply_ampere"].value == pytest.approx(100 / (125 / 14.4))
    assert {row.unit for row in found.rows if row.name.startswith("watts")} == {"W/L", "W/kg", "W/A"}


def test_two_outputs_give_their_watts_together():
    both = {**WHOLE, "outputs": ("A", "B")}
    found = beside([ramp(outputs="AB")], [ramp(outputs="AB")], amplifiers=(both, both))
    row = next(row for row in found.rows if row.name == "price_per_watt")
    assert row.values[0].quantity.value == pytest.approx(1.5)
    part = beside([ramp()], [ramp()], amplifiers=(both, both))
    assert "price_per_watt" not in {row.name for row in part.rows}


def test_currencies_are_not_compared_and_one_currency_is():
    found = beside([ramp()], [ramp(120.0)], amplifiers=({"price": GBP}, {"price": EUR}))
    assert [row.unit for row in found.rows if row.name == "price_per_watt"] == ["GBP/W", "EUR/W"]
    assert not [told for told in found.differences if told.name == "price_per_watt"]
    (told,) = refused(found, "price_per_watt")
    assert "EUR" in told.why
    assert "GBP" in told.why
    same = beside([ramp()], [ramp(120.0)], amplifiers=({"price": GBP}, {"price": GBP}))
    assert not refused(same, "price_per_watt")
    assert [told.en for told in same.differences if told.name == "price_per_watt"] == [None]


@pytest.mark.parametrize("left_out", ["price", "size_mm", "mass_kg"])
def test_what_the_file_does_not_state_is_not_made_up(left_out):
    names = {"price": "price_per_watt", "size_mm": "watts_per_litre", "mass_kg": "watts_per_kilogram"}
    less = {key: value for key, value in WHOLE.items() if key != left_out}
    found = beside([ramp()], [ramp()], amplifiers=(WHOLE, less))
    assert [told.session for told in refused(found, names[left_out])] == ["second"]
    assert refused(beside([ramp()], [ramp()], amplifiers=(WHOLE, WHOLE)), names[left_out]) == []
    assert refused(beside([ramp()], [ramp()], amplifiers=(less, less)), names[left_out]) == []


# --- cold and soaked; remarks ----------------------------------------------------------------------------------------


def test_cold_and_soaked_share_their_calibrations():
    cold, soaked = (
        one.model_copy(
            update={
                "budget": (*one.budget, BudgetLine(source="bench Boathouse bench: v", label="v", u=u, type="B")),
                "u": hypot(one.u, u),
            }
        )
        for one, u in zip(hold(200.0, 190.0).figures, (2.0, 1.9), strict=True)
    )
    found = beside([capture(cold, soaked, kind="hold")], [ramp()])
    (soak,) = found.soaks
    assert (soak.session, soak.cold, soak.soaked) == ("first", "1 s", "60 s")
    assert soak.difference.ratio.value == pytest.approx(0.95)
    assert soak.difference.ratio.u == pytest.approx(0.95 * hypot(0.001, 0.001), rel=1e-6)
    assert soak.difference.distinguishable


def test_a_short_hold_soaks_nothing():
    found = beside([hold(200.0, 199.0, times_s=(1.0, 5.0))], [ramp()])
    assert found.soaks == ()


@pytest.mark.parametrize(("warmer_k", "count"), [(25.0, 1), (4.0, 0)])
def test_ramps_at_different_temperatures_are_cold_and_soaked(warmer_k, count):
    cold, soaked = (
        ramp(value).model_copy(update={"curve": (CurvePoint(t_s=0.1, temperature=begin_c),), "file": f"{value}.wav"})
        for value, begin_c in ((100.0, 20.0), (96.0, 20.0 + warmer_k))
    )
    soaks = beside([soaked, cold], [ramp()]).soaks
    assert len(soaks) == count
    for soak in soaks:
        assert soak.difference.difference.value == pytest.approx(-4.0)


@pytest.mark.parametrize(
    ("one", "other", "said"),
    [
        ([ramp(frequency_hz=997.0)], [ramp()], "tones differ"),
        ([ramp(thd_basis="fundamental")], [ramp(thd_basis="total")], "refers to"),
        ([typed()], [ramp()], "Typed from meters"),
    ],
)
def test_what_differs_and_is_left_is_remarked(one, other, said):
    assert any(said in remark for remark in beside(one, other).remarks)
    assert beside(other, other).remarks == ()
