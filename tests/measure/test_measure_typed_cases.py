"""Published worked examples, as typed readings and as quantities."""

import json
from math import sqrt
from pathlib import Path

import numpy as np
import pytest

from wattproof.amplifier import Rating
from wattproof.bench import Bench, Load, Meter, meter_uncertainty, parse_readings
from wattproof.errors import SettingsError
from wattproof.measure import measure_readings
from wattproof.quantity import Ledger, correlation

CASES = Path(__file__).parents[2].parent / "shared" / "data" / "cases.jsonl"

pytestmark = [
    pytest.mark.shared,
    pytest.mark.skipif(not CASES.exists(), reason="the cases that stand beside the project are absent"),
]


@pytest.fixture(scope="module")
def cases():
    return {case["id"]: case for case in map(json.loads, CASES.read_text(encoding="utf-8").splitlines())}


def close(case, name, found):
    expected = case["expected"][name]
    assert found == pytest.approx(expected["value"], abs=expected["tol"]), name


def given(case, name):
    return case["inputs"][name]["value"]


def measured(text, bench=Bench()):  # noqa: B008 - frozen
    return measure_readings(parse_readings(text, file="readings.csv"), bench=bench, file="readings.csv")


def codes(result):
    return {notice.code for notice in result.warnings}


def test_p01_volts_and_nominal_ohms_are_a_nominal_estimate(cases):
    case = cases["P01"]
    text = f"load,load_voltage_v\n{given(case, 'r_nominal')} ohm,{given(case, 'v_rms')}\n"
    (result,) = measured(text)
    close(case, "power", result.figure("load_power_v2r").value)
    assert result.figure("load_power") is None
    assert "nominal-load" in codes(result)


def test_p02_a_rated_power_asks_for_a_voltage(cases):
    case = cases["P02"]
    rating = Rating(quantity="power", value=given(case, "power"), unit="W", load_ohm=given(case, "r"))
    close(case, "v_rms", rating.target_voltage_v)


def test_p03_volts_and_amperes_on_a_loudspeaker_are_volt_amperes(cases):
    case = cases["P03"]
    volts, amps, ohms = given(case, "v_reading"), given(case, "i_reading"), given(case, "r_dc_nominal")
    header = "load,frequency_hz,load_voltage_v,load_current_a\n"
    (result,) = measured(f"{header}{ohms} ohm,60,{volts},{amps}\n")
    close(case, "z_magnitude", result.figure("load_impedance").value)
    close(case, "apparent_power_if_rms", result.figure("apparent_power").value)
    assert result.figure("apparent_power").unit == "VA"
    assert result.figure("load_power") is None
    assert "load-differs" in codes(result)
    wrong = case["expected"]["wrong_published_rms"]["value"]
    assert all(abs(figure.value - wrong) > 1 for figure in result.figures)


def test_p03_peaks_are_refused_and_the_hint_leads_to_half_the_product(cases):
    case = cases["P03"]
    with pytest.raises(SettingsError) as caught:
        measured("load_voltage_peak_v,load_current_peak_a\n84,16\n")
    factor = float(caught.value.hint.split("a peak divided by ")[1].split(",")[0])
    volts, amps = given(case, "v_reading") / factor, given(case, "i_reading") / factor
    (result,) = measured(f"load_voltage_v,load_current_a\n{volts:.4f},{amps:.4f}\n")
    close(case, "power_ceiling_if_both_readings_are_peaks", result.figure("apparent_power").value)


def test_p05_gain_and_power_of_a_published_self_check(cases):
    case = cases["P05"]
    rms = 2 * sqrt(2)  # both are sines
    text = (
        "load,load_voltage_v,drive_voltage_v\n"
        f"{given(case, 'r')} ohm,{given(case, 'v_out_pp') / rms:.5f},{given(case, 'v_in_pp') / rms:.5f}\n"
        f"{given(case, 'r')} ohm,{given(case, 'v_unclipped_rms')},\n"
    )
    driven, unclipped = measured(text)
    close(case, "gain", driven.figure("gain").value)
    close(case, "power_unclipped", unclipped.figure("load_power_v2r").value)


def test_p06_a_wrong_row_is_caught_and_the_load_that_would_fit_is_named(cases):
    case = cases["P06"]
    rows = case["inputs"]["rows"]
    ohms = given(case, "r_stated")
    lines = [f"{ohms} ohm,{row['p']['value']},{row['v_rms']['value']}" for row in rows]
    first, second = measured("load,power_w,load_voltage_v\n" + "\n".join(lines) + "\n")
    close(case, "p_row1", first.figure("load_power_v2r").value)
    close(case, "p_row2", second.figure("load_power_v2r").value)
    assert ("powers-differ" not in codes(first)) is case["expected"]["row1_consistent"]["value"]
    assert ("powers-differ" not in codes(second)) is case["expected"]["row2_consistent"]["value"]
    notice = next(n for n in first.warnings if n.code == "powers-differ")
    close(case, "r_that_makes_row1_true", notice.numbers["fitting_ohm"])


def test_s05_heat_at_a_given_efficiency(cases):
    case = cases["S05"]
    powers = [power["value"] for power in case["inputs"]["p_out"]]
    efficiency = given(case, "efficiency")
    rows = [f"{power},12.5,{power / efficiency / 12.5:.4f}" for power in powers]
    results = measured("power_w,supply_voltage_v,supply_current_a\n" + "\n".join(rows) + "\n")
    for n, (result, heat) in enumerate(zip(results, case["expected"]["heat"]["value"], strict=True)):
        assert result.figure("heat", None).value == pytest.approx(heat, abs=case["expected"]["heat"]["tol"]), n
        assert result.figure("efficiency", None).value == pytest.approx(efficiency, abs=1e-4)


def test_s06_heat_and_input_by_class(cases):
    case = cases["S06"]
    classes = case["inputs"]["efficiency"]
    out = given(case, "p_out")
    rows = [f"{out},14.4,{out / efficiency / 14.4:.4f}" for efficiency in classes.values()]
    results = measured("power_w,supply_voltage_v,supply_current_a\n" + "\n".join(rows) + "\n")
    for name, figure in (("p_in", "supply_power"), ("heat", "heat")):
        found = [result.figure(figure, None).value for result in results]
        close(case, name, found)


def test_s08_input_watts_are_not_output_watts(cases):
    case = cases["S08"]
    (result,) = measured(f"supply_voltage_v,supply_current_a\n{given(case, 'v_dc')},{given(case, 'i_dc')}\n")
    close(case, "p_in", result.figure("supply_power", None).value)
    assert {figure.name for figure in result.figures} == {"supply_voltage", "supply_current", "supply_power"}
    assert "product-of-means" in codes(result)


def test_d07_stated_efficiency_of_a_small_amplifier(cases):
    case = cases["D07"]
    current = case["expected"]["i_in"]["value"]
    text = f"power_w,supply_voltage_v,supply_current_a\n{given(case, 'p_out')},{given(case, 'v')},{current}\n"
    (result,) = measured(text)
    close(case, "p_in", result.figure("supply_power", None).value)
    close(case, "heat", result.figure("heat", None).value)
    assert result.figure("efficiency", None).value == pytest.approx(given(case, "efficiency"), abs=0.002)


def test_e05_internal_resistance_from_one_loaded_reading(cases):
    case = cases["E05"]
    text = (
        "kind,supply_voltage_v,supply_current_a\n"
        f"idle,{given(case, 'emf')},0\nsteady,{given(case, 'v_loaded')},{given(case, 'current')}\n"
    )
    close(case, "r_internal", measured(text)[-1].figure("source_resistance", None).value)


@pytest.mark.parametrize(
    ("key", "ohms", "factor"), [("Z01", "r_out", "damping_factor"), ("Z02", "r_out_exact", "df_exact")]
)
def test_z01_z02_output_resistance_from_open_and_loaded_volts(cases, key, ohms, factor):
    case = cases[key]
    bench = Bench(loads=(Load(name="resistor", resistance_ohm=given(case, "r")),))
    text = f"load,load_voltage_v\nopen,{given(case, 'v_open'):.4f}\nresistor,{given(case, 'v_loaded'):.4f}\n"
    loaded = measured(text, bench)[1]
    close(case, ohms, loaded.figure("output_resistance").value)
    close(case, factor, loaded.figure("damping_factor").value)


def test_m01_a_meter_beyond_its_band_is_further_off_than_its_accuracy_says(cases):
    case = cases["M01"]
    true = given(case, "true_rms")
    meter = Meter(
        name="handheld", quantity="load_voltage", percent_of_reading=0.5, digits=3, resolution=0.001,
        frequency_hz=(40, 400),
    )  # fmt: skip
    bench = Bench(meters=(meter,))
    rows = list(zip(case["inputs"]["f"], case["inputs"]["reading"], strict=True))
    text = "load,frequency_hz,load_voltage_v\n" + "".join(f"4 ohm,{f},{v}\n" for f, v in rows)
    results = measured(text, bench)
    close(case, "ratio_percent", [100 * result.figure("load_voltage_rms").value / true for result in results])
    for (frequency, reading), result in zip(rows, results, strict=True):
        limit = sqrt(3) * meter_uncertainty(meter, reading, frequency).u
        assert ("meter-out-of-band" in codes(result)) is not (40 <= frequency <= 400)
        if abs(reading - true) > limit:
            assert "meter-out-of-band" in codes(result), frequency
    (truth,) = measured(f"load,load_voltage_v\n4 ohm,{true}\n")
    at_1280 = results[case["inputs"]["f"].index(1280)].figure("load_power_v2r").value
    close(case, "power_error_at_1280Hz", 100 * (at_1280 / truth.figure("load_power_v2r").value - 1))


def test_m08_a_shunt_and_its_heat(cases):
    case = cases["M08"]
    bench = Bench(loads=(Load(name="shunt", resistance_ohm=given(case, "shunt")),))
    (dropped,) = measured(f"load,load_voltage_v\nshunt,{given(case, 'reading')}\n", bench)
    close(case, "current", dropped.figure("load_power").value / dropped.figure("load_voltage_rms").value)
    (heated,) = measured(f"load,load_current_a\nshunt,{given(case, 'i2')}\n", bench)
    close(case, "heat_at_50A", heated.figure("load_power").value)


def test_g01_resistance_reactance_and_impedance_of_gum_h2_with_their_correlations(cases):
    case = cases["G01"]
    from GTC import cos, sin

    data = np.array([case["inputs"]["V"], case["inputs"]["I_mA"], case["inputs"]["phi_rad"]]) * [[1], [1e-3], [1]]
    # five simultaneous observations: the covariance of their means, as independent sources that all three share
    root = np.linalg.cholesky(np.cov(data) / data.shape[1])
    ledger = Ledger()
    sources = [ledger.source(f"observed {n}", 0.0, 1.0, label=f"observed {n}", kind="A") for n in range(3)]
    volts, amps, phase = (
        mean + sum(float(part) * source for part, source in zip(row, sources, strict=True))
        for mean, row in zip(data.mean(axis=1).tolist(), root, strict=True)
    )
    resistance = ledger.quantity(volts / amps * cos(phase), unit="ohm")
    reactance = ledger.quantity(volts / amps * sin(phase), unit="ohm")
    impedance = ledger.quantity(volts / amps, unit="ohm")
    for name, quantity in (("R", resistance), ("X", reactance), ("Z", impedance)):
        close(case, name, quantity.value)
        close(case, f"u_{name}", quantity.u)
    close(case, "r_RX", correlation(resistance, reactance))
    close(case, "r_RZ", correlation(resistance, impedance))
    close(case, "r_XZ", correlation(reactance, impedance))


def test_g02_combined_uncertainty_and_effective_degrees_of_freedom(cases):
    case = cases["G02"]
    from scipy.stats import t

    ledger = Ledger()
    parts = zip(case["inputs"]["components_nm"], case["inputs"]["dof"], strict=True)
    total = sum(
        ledger.source(f"part {n}", 0.0, u, label=f"part {n}", kind="A", dof=dof) for n, (u, dof) in enumerate(parts)
    )
    length = ledger.quantity(total, unit="nm")
    close(case, "u_c", length.u)
    close(case, "nu_eff", length.dof)
    k99 = float(t.ppf(0.995, int(length.dof)))
    close(case, "k99", k99)
    close(case, "U99", k99 * length.u)
