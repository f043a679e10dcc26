"""Typed readings: figures from columns, their uncertainty from the meters, and what a careful colleague says."""

from math import hypot, sqrt

import numpy as np
import pytest

from wattproof.amplifier import Amplifier
from wattproof.bench import Bench, Load, Meter, parse_readings
from wattproof.errors import SettingsError
from wattproof.measure import measure_readings
from wattproof.quantity import correlation

FOUR = Load(name="four", resistance_ohm=4.03, resistance_u_ohm=0.008)
WARM = Load(name="warm", resistance_ohm=4.0, resistance_u_ohm=0.004, tempco_per_k=60e-6, rise_k=100)
COIL = Load(name="coil", resistance_ohm=4.0, inductance_h=500e-6)


def meter(quantity, **more):
    settings = {"name": "handheld", "percent_of_reading": 0.8, "digits": 3, "resolution": 0.01} | more
    return Meter(quantity=quantity, **settings)


BENCH = Bench(
    name="Boathouse bench",
    loads=(FOUR, WARM, COIL),
    meters=(meter("load_voltage", frequency_hz=(45, 400)), meter("load_current", name="clamp", percent_of_reading=1.5)),
)


def measured(text, bench=BENCH, **more):
    return measure_readings(parse_readings(text, file="readings.csv"), bench=bench, file="readings.csv", **more)


def one(text, bench=BENCH, **more):
    (result,) = measured(text, bench, **more)
    return result


def codes(result):
    return {notice.code for notice in result.warnings}


def test_every_figure_the_columns_allow():
    header = "load,frequency_hz,load_voltage_v,load_current_a,supply_voltage_v,supply_current_a,drive_voltage_v,"
    result = one(header + "thd_percent,thd_f_percent\nfour,47,45.2,11.2,13.9,48.0,1.5,0.9,0.7\n")
    values = {figure.name: (figure.value, figure.unit, figure.output) for figure in result.figures}
    assert result.kind == "readings"
    assert values == {
        "load_voltage_rms": (45.2, "V", "A"),
        "load_current_rms": (11.2, "A", "A"),
        "gain": (pytest.approx(45.2 / 1.5), "V/V", "A"),
        "thd_n": (pytest.approx(0.009), "V/V", "A"),
        "thd_f": (pytest.approx(0.007), "V/V", "A"),
        "apparent_power": (pytest.approx(506.24), "VA", "A"),
        "load_impedance": (pytest.approx(45.2 / 11.2), "ohm", "A"),
        "load_power_v2r": (pytest.approx(45.2**2 / 4.03), "W", "A"),
        "load_power": (pytest.approx(506.24), "W", "A"),
        "supply_voltage": (13.9, "V", None),
        "supply_current": (48.0, "A", None),
        "supply_power": (pytest.approx(13.9 * 48), "W", None),
        "efficiency": (pytest.approx(506.24 / 667.2), "W/W", None),
        "heat": (pytest.approx(667.2 - 506.24), "W", None),
    }
    power = result.figure("load_power")
    assert power.conditions == {
        "kind": "steady", "frequency_hz": 47.0, "load": "four", "load_ohm": 4.03, "supply_v": 13.9,
        "basis": "v*i in a resistor",
    }  # fmt: skip
    assert power.origin == "readings.csv line 2"


def test_the_uncertainty_of_v2r_is_that_of_the_meter_twice_and_of_the_resistor():
    figure = one("load,frequency_hz,load_voltage_v\nfour,47,45.20\n").figure("load_power_v2r")
    u_volts = hypot((0.008 * 45.2 + 0.03) / sqrt(3), 0.01 / sqrt(12))
    assert figure.u / figure.value == pytest.approx(hypot(2 * u_volts / 45.2, 0.008 / 4.03), rel=1e-6)
    assert figure.budget[0].source == "bench Boathouse bench: meter handheld: load_voltage accuracy"
    assert {line.label for line in figure.budget} >= {"resistance of four", "accuracy of handheld, load_voltage"}


def test_heating_of_the_load_widens_the_power():
    result = one("load,frequency_hz,load_voltage_v\nwarm,47,45.20\n")
    part = next(line for line in result.figure("load_power_v2r").budget if line.label == "heating of warm")
    assert part.u == pytest.approx(result.figure("load_power_v2r").value * 0.006 / sqrt(3), rel=1e-3)


def test_rows_of_the_same_meter_are_correlated_through_it():
    first, second = measured("frequency_hz,load_voltage_v\n47,45.2\n47,20.1\n")
    shared = correlation(first.figure("load_voltage_rms"), second.figure("load_voltage_rms"))
    a, b = (0.8 / 100 * volts / sqrt(3) for volts in (45.2, 20.1))
    expected = a * b / (first.figure("load_voltage_rms").u * second.figure("load_voltage_rms").u)
    assert shared == pytest.approx(expected, rel=1e-9)
    assert 0.7 < shared < 1


def test_the_columns_scatter_as_the_uncertainty_says():
    """Meters with errors drawn inside their limits: the 95 % interval of V²/R holds the truth at least as often."""
    rng = np.random.default_rng(5)
    held, runs = 0, 300
    for _ in range(runs):
        volts = 45.2 * (1 + 0.008 * rng.uniform(-1, 1)) + 0.03 * rng.uniform(-1, 1)
        low, high = one(f"load,frequency_hz,load_voltage_v\nfour,47,{volts:.2f}\n").figure("load_power_v2r").interval95
        held += low <= 45.2**2 / 4.03 <= high
    assert held / runs >= 0.95


def test_volts_times_amperes_are_power_only_in_a_calibrated_resistor_that_they_fit():
    named = one("load,frequency_hz,load_voltage_v,load_current_a\nfour,47,45.2,11.2\n")
    nominal = one("load,frequency_hz,load_voltage_v,load_current_a\n4 ohm,47,45.2,11.2\n")
    unknown = one("frequency_hz,load_voltage_v,load_current_a\n47,45.2,11.2\n")
    other = one("load,frequency_hz,load_voltage_v,load_current_a\nfour,47,45.2,6.1\n")
    assert named.figure("load_power") is not None
    assert [r.figure("load_power") for r in (nominal, unknown, other)] == [None, None, None]
    assert all(r.figure("apparent_power").unit == "VA" for r in (named, nominal, unknown, other))
    assert "nominal-load" in codes(nominal)
    assert "load-differs" in codes(other)
    assert "load-differs" not in codes(named)


def test_a_contradicted_load_gives_neither_power_nor_efficiency():
    text = (
        "load,frequency_hz,load_voltage_v,load_current_a,supply_voltage_v,supply_current_a\nfour,47,45.2,6.1,13.9,30\n"
    )
    result = one(text)
    assert result.figure("supply_power", None) is not None
    assert [result.figure(name, None) for name in ("efficiency", "heat")] == [None, None]


def test_an_inductive_load_takes_less_power_than_volt_amperes():
    result = one("load,frequency_hz,load_voltage_v,load_current_a\ncoil,997,20.0,3.94\n", Bench(loads=(COIL,)))
    reactance = 2 * np.pi * 997 * 500e-6
    assert hypot(4, reactance) == pytest.approx(5.08, abs=0.01)
    assert result.figure("load_power").value == pytest.approx(20 * 3.94 * 4 / hypot(4, reactance))


def test_a_current_alone_gives_the_power_of_a_calibrated_resistor():
    assert one("load,load_current_a\nfour,11.2\n").figure("load_power").value == pytest.approx(11.2**2 * 4.03)


def test_a_load_below_the_makers_least_is_told():
    amplifier = Amplifier(maker="Saltmarsh & Daughter", model="Bittern 1", minimum_load_ohm=4)
    assert "load-below-minimum" in codes(one("load,load_voltage_v\n2 ohm,20\n", amplifier=amplifier))
    assert "load-below-minimum" not in codes(one("load,load_voltage_v\nfour,20\n", amplifier=amplifier))


# --- supply -------------------------------------------------------------------------------------------------------


def test_the_product_of_means_is_told_and_its_hidden_part_enters_the_doubt_where_the_source_is_known():
    text = "kind,supply_voltage_v,supply_current_a\nidle,14.40,0.00\nsteady,13.90,50.0\n"
    idle, loaded = measured(text)
    notice = next(n for n in loaded.warnings if n.code == "product-of-means")
    hidden = 0.01 * (np.pi**2 / 8 - 1) * 50**2
    assert notice.numbers["hidden_w"] == pytest.approx(hidden, rel=1e-3)
    assert "product-of-means" not in codes(idle)
    assert loaded.figure("supply_power", None).u == pytest.approx(hidden / sqrt(3), rel=0.02)


def test_the_hidden_part_is_what_a_full_wave_current_on_a_soft_source_really_hides():
    t = (np.arange(20_000) + 0.5) / 20_000
    amps = 50 * np.pi / 2 * np.abs(np.sin(np.pi * t))
    volts = 14.4 - 0.01 * amps
    text = f"kind,supply_voltage_v,supply_current_a\nidle,14.40,0.00\nsteady,{volts.mean():.4f},{amps.mean():.4f}\n"
    _, loaded = measured(text)
    notice = next(n for n in loaded.warnings if n.code == "product-of-means")
    assert volts.mean() * amps.mean() - np.mean(volts * amps) == pytest.approx(notice.numbers["hidden_w"], rel=1e-3)


def test_the_sources_resistance_comes_from_a_straight_line():
    amps = np.array([0.5, 12.0, 30.0, 55.0])
    rows = "\n".join(f"{14.4 - 0.0123 * i:.3f},{i}" for i in amps)
    results = measured("supply_voltage_v,supply_current_a\n" + rows + "\n")
    figures = [result.figure("source_resistance", None) for result in results]
    assert figures[:-1] == [None, None, None]
    assert figures[-1].value == pytest.approx(0.0123, abs=3 * figures[-1].u)
    assert figures[-1].u < 0.0123 * 0.005
    assert figures[-1].origin == "readings.csv lines 2-5"


def test_the_weighted_line_is_numpys():
    amps, volts = [1.0, 20.0, 40.0, 60.0], [14.40, 14.1, 13.92, 13.599]
    text = "supply_voltage_v,supply_current_a\n14.40,1.000\n14.1,20.000\n13.92,40.000\n13.599,60.000\n"
    figure = measured(text)[-1].figure("source_resistance", None)
    # the steps typed differ, and with them the weights; the current's share is small but there
    slope = 0.0
    for _ in range(3):
        u = np.hypot(np.array([0.01, 0.1, 0.01, 0.001]), slope * 0.001)
        slope = np.polyfit(amps, volts, 1, w=1 / u)[0]
    assert figure.value == pytest.approx(-slope, rel=1e-9)


def test_an_error_all_voltages_share_moves_the_slope_only_by_its_percentage():
    volts = meter("supply_voltage", percent_of_reading=1.0, digits=0, resolution=0.001)
    text = "supply_voltage_v,supply_current_a\n14.400,0.000\n13.900,50.000\n"
    figure = measured(text, Bench(meters=(volts,)))[-1].figure("source_resistance", None)
    shared = next(line for line in figure.budget if line.source.endswith("accuracy"))
    assert shared.u == pytest.approx(0.01 * 0.01 / sqrt(3), rel=1e-9)


def test_a_supply_that_rises_with_load_is_told_and_gives_no_resistance():
    results = measured("supply_voltage_v,supply_current_a\n13.90,0.5\n14.40,50\n")
    assert results[-1].figure("source_resistance", None) is None
    assert "supply-rises" in codes(results[-1])


def test_points_off_the_line_widen_the_doubt_with_few_degrees_of_freedom():
    on = measured("supply_voltage_v,supply_current_a\n14.40,0.0\n14.20,20.0\n14.00,40.0\n13.80,60.0\n")[-1]
    off = measured("supply_voltage_v,supply_current_a\n14.40,0.0\n14.00,20.0\n14.20,40.0\n13.80,60.0\n")[-1]
    assert "supply-scatters" in codes(off)
    assert "supply-scatters" not in codes(on)
    assert off.figure("source_resistance", None).u > 5 * on.figure("source_resistance", None).u
    assert off.figure("source_resistance", None).k95 > 4  # t for two degrees of freedom is 4.3


def test_one_current_tells_no_resistance():
    assert (
        measured("supply_voltage_v,supply_current_a\n14.4,10\n14.3,10\n")[-1].figure("source_resistance", None) is None
    )


def test_efficiency_over_one_is_told():
    result = one("load,load_voltage_v,supply_voltage_v,supply_current_a\nfour,60,13.9,48\n")
    assert result.figure("efficiency", None).value > 1
    assert "efficiency-over-1" in codes(result)


def test_one_output_of_several_is_told():
    amplifier = Amplifier(maker="Teal & Rush", model="Sedge 4", outputs=("A", "B"))
    text = "output,load,load_voltage_v,supply_voltage_v,supply_current_a\nB,four,20,13.9,12\n"
    assert "one-output-counted" in codes(one(text, amplifier=amplifier))


def test_idle_gives_idle_current_and_no_efficiency():
    result = one("kind,load,load_voltage_v,supply_voltage_v,supply_current_a\nidle,four,0.002,14.4,0.82\n")
    assert result.figure("idle_current", None).value == 0.82
    assert result.figure("efficiency", None) is None


# --- the amplifier's own resistance -------------------------------------------------------------------------------


def test_a_damping_factor_lost_in_the_digits_is_not_given():
    loaded = measured("load,frequency_hz,load_voltage_v\nopen,47,20.02\nfour,47,20.00\n")[1]
    assert loaded.figure("output_resistance").value == pytest.approx(4.03 * 0.001, rel=1e-6)
    assert loaded.figure("damping_factor") is None
    assert "damping-unresolved" in codes(loaded)


def test_the_meters_own_gain_cancels_in_the_damping_factor():
    plain = meter("load_voltage", percent_of_reading=3.0, digits=0, resolution=0.001)
    bench = Bench(loads=(Load(name="eight", resistance_ohm=8.0),), meters=(plain,))
    loaded = measured("load,load_voltage_v\nopen,1.000\neight,0.950\n", bench)[1]
    u_digits = 8 / 0.95 * hypot(0.001 / sqrt(12), 0.001 / sqrt(12) / 0.95)
    assert loaded.figure("output_resistance").u == pytest.approx(u_digits, rel=1e-6)


@pytest.mark.parametrize("other", ["B,steady,47,1.0", "A,burst,47,1.0", "A,steady,100,1.0", "A,steady,47,1.1"])
def test_open_and_loaded_rows_must_be_alike(other):
    text = "output,kind,frequency_hz,drive_voltage_v,load,load_voltage_v\nA,steady,47,1.0,four,20.0\n"
    assert measured(f"{text}{other},open,21.0\n")[0].figure("output_resistance") is None
    assert measured(f"{text}A,steady,47,1.0,open,21.0\n")[0].figure("output_resistance") is not None


# --- faults -------------------------------------------------------------------------------------------------------


def test_words_that_name_nothing_are_told_with_their_lines_all_at_once():
    text = (
        "output,load,load_voltage_v,load_voltage_meter,supply_voltage_v\n"
        "A,fuor,10,handheld,\nA,four,10,handhold,\nZ,four,10,,\nA,,,,14.4\n"
    )
    amplifier = Amplifier(maker="Saltmarsh & Daughter", model="Bittern 1")
    with pytest.raises(SettingsError) as caught:
        measured(text, amplifier=amplifier)
    assert [line.split(":")[0] for line in caught.value.why.split("\n")] == ["line 2", "line 3", "line 4"]
    assert caught.value.hint.split("\n")[:2] == ['line 2: write "four"', 'line 3: write "handheld"']
    text = text.replace("fuor", "four").replace("handhold", "handheld").replace("Z,", "A,")
    assert len(measured(text, amplifier=amplifier)) == 4


def test_several_meters_of_a_kind_must_be_told_apart():
    bench = Bench(meters=(meter("load_voltage"), meter("load_voltage", name="other")))
    with pytest.raises(SettingsError) as caught:
        measured("load_voltage_v\n10\n", bench)
    assert "load_voltage_meter" in caught.value.hint
    named = one("load_voltage_v,load_voltage_meter\n10,other\n", bench)
    assert "no-meter" not in codes(named)


def test_a_blank_file_of_zeros_divides_by_nothing():
    columns = "load,load_voltage_v,load_current_a,supply_voltage_v,supply_current_a,drive_voltage_v,power_w,thd_percent"
    results = measured(f"{columns}\nfour,0,0,0,0,0,0,0\nopen,0,,,,,,\n")
    assert {figure.value for figure in results[0].figures} == {0.0}
    assert results[0].figure("efficiency", None) is None


def test_results_survive_json():
    result = one("load,frequency_hz,load_voltage_v,load_current_a\nfour,47,45.2,11.2\n")
    assert type(result).model_validate_json(result.model_dump_json()) == result
