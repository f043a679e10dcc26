import math
import re

import pytest

from wattproof.measure import CaptureResult, Figure
from wattproof.report import budget_text, figure_groups, figures_table
from wattproof.report.conditions import conditions_text
from wattproof.report.faces import face_name, face_value, remarks, telling_conditions
from wattproof.report.table import WIDEST


def made(name, value, u=0.0, unit="W", **conditions):
    return Figure(name=name, value=value, u=u, unit=unit, k95=2.0, conditions=conditions, origin="a.wav 0-1 s")


@pytest.mark.parametrize("style", ["plain", "markdown"])
def test_the_table_stays_as_it_was(results, style, snapshot):
    assert figures_table(results, style=style) == snapshot


def test_no_figures_are_said_to_be_none():
    assert figures_table([CaptureResult(file="a.wav", kind="idle")]) == "No figures.\n"


def test_every_figure_has_its_row(results):
    rows = [row.figure for group in figure_groups(results) for row in group.rows]
    assert sorted(rows, key=id) == sorted((f for r in results for f in r.figures), key=id)


def test_shared_conditions_with_a_row_s_own_over_them_are_all(results):
    for group in figure_groups(results):
        for row in group.rows:
            said = {part for text in (group.shared, row.own_conditions) for part in text.split(", ") if part}
            assert said >= {part for part in row.conditions.split(", ") if part}


def test_what_half_of_the_rows_share_is_said_once_and_the_others_say_theirs():
    loads = [4.03, 4.03, 4.03, 4.041]
    figures = tuple(made("load_power", 1.0, 0.1, frequency_hz=47.0, load_ohm=load) for load in loads)
    (group,) = figure_groups([CaptureResult(file="a.wav", kind="steady", figures=figures)])
    assert group.shared == "47 Hz, 4.03 ohm"
    assert [row.own_conditions for row in group.rows] == ["", "", "", "4.041 ohm"]


def test_a_condition_that_differs_only_below_its_rounding_is_not_told_again():
    figures = tuple(made("load_power", 1.0, 0.1, supply_v=volts) for volts in (14.42, 14.42, 14.4233, 14.431))
    (group,) = figure_groups([CaptureResult(file="a.wav", kind="steady", figures=figures)])
    assert [row.own_conditions for row in group.rows] == ["", "", "", "14.43 V"]


def test_a_condition_that_most_rows_lack_is_not_shared():
    figures = (made("load_power", 1.0, load_ohm=4.0), made("heat", 1.0), made("gain", 2.0))
    (group,) = figure_groups([CaptureResult(file="a.wav", kind="steady", figures=figures)])
    assert group.shared == ""
    assert [row.own_conditions for row in group.rows] == ["4 ohm", "", ""]


def test_a_ratio_that_may_be_zero_is_told_by_its_upper_end():
    figure = made("harmonic_6", 3e-8, 1.35e-7, "V/V", floor=1.4e-7)  # 3e-8 + 2 x 1.35e-7 = 3e-7: -130.5 dB
    assert remarks(figure) == ["below -130 dB re fundamental", "at the recorder's floor of 0.000014 %"]


@pytest.mark.parametrize(
    ("figure", "said"),
    [
        (made("load_power", 512.34, 2.1), "512.3 ± 4.2 W"),
        (made("gain", 10.0, 0.1, "V/V"), "20.00 ± 0.17 dB"),  # 20 lg 10; 8.686 x 2 x 1 %
        (made("burst_headroom", 10.0, 0.1, "W/W"), "10.000 ± 0.087 dB"),  # 10 lg 10
        (made("thd_n", 0.01, 0.0001, "V/V"), "1.000 ± 0.020 %"),
        (made("efficiency", 0.75, 0.01, "W/W"), "75.0 ± 2.0 %"),
        (made("power_factor", 0.75, 0.01, "1"), "0.750 ± 0.020"),
        (made("dc_offset", -0.0113, 0.001, "V"), "-11.3 ± 2.0 mV"),
        (made("dc_offset", 0.0, 0.2, "V"), "0.00 ± 0.40 V"),  # the doubt, not the value, chooses the prefix
        (made("load_power", 0.0, 0.0), "0 W"),
        (made("fundamental_frequency", 47.000000064, 2e-8, "Hz"), "47.000 ± 0.001 Hz"),
        (made("thd_n", 2.783183e-4, 5.5e-10, "V/V"), "0.027832 ± 0.000001 %"),
        (made("power_factor", 0.999999987, 1e-8, "1"), "1.0000 ± 0.0001"),
        (made("load_power", 123456.0, 0.4), "123460 ± 10 W"),
        (made("load_power", 99999.7, 0.4), "100000 ± 10 W"),
        (made("load_power", 512.341, 0.026), "512.34 ± 0.06 W"),  # the doubt is rounded up, never down
        (made("burst_droop", 0.99994, 0.000001, "W/W"), "0.00600 ± 0.00020 %"),
        (made("burst_droop", 1.01, 0.0001, "W/W"), "-1.000 ± 0.020 %"),
        (made("load_power", math.nan), "not known"),
        (made("load_power", 3.0, math.inf), "not known"),
    ],
)
def test_a_value_is_written_as_the_trade_writes_it(figure, said):
    assert face_value(figure) == said


def test_distortion_names_its_reference_and_the_floor():
    assert remarks(made("thd_f", 0.001, 0.00001, "V/V", floor=0.00001)) == [
        "-60.00 dB re fundamental",
        "recorder's floor 0.0010 %",
    ]


def test_distortion_near_the_floor_says_so():
    assert remarks(made("thd_f", 0.00101, 0.0, "V/V", floor=0.0006))[-1] == "at the recorder's floor of 0.060 %"
    assert remarks(made("thd_f", 0.00121, 0.0, "V/V", floor=0.0006))[-1] == "recorder's floor 0.060 %"


def test_distortion_of_nothing_has_no_decibels():
    assert remarks(made("thd_f", 0.0, 0.0, "V/V", floor=1e-6)) == ["at the recorder's floor of 0.00010 %"]


def test_unknown_conditions_are_still_said():
    assert conditions_text({"frame_s": 0.0213, "method": "joint fit"}) == "frame 21.3 ms, method joint fit"


def test_known_conditions_are_said_in_a_phrase():
    said = conditions_text(
        {"thd_n": 0.01, "thd_basis": "total", "phase_rad": 3.141592653589793, "weighting": "none", "basis": "v*i"}
    )
    assert said == "at 1 % distortion and noise, distortion and noise re total, phase 180.0°, unweighted, from v·i"
    assert conditions_text({"basis": ""}) == ""


@pytest.mark.parametrize(
    ("conditions", "said"),
    [
        ({"slope_db_per_s": 8.013, "frame_cycles": 1}, "rising 8.0 dB/s, read every cycle"),
        ({"frame_cycles": 3}, "read every 3 cycles"),
        ({"outputs_measured": 1}, "one output measured"),
        ({"outputs_measured": 2}, "2 outputs measured"),
        ({"bursts": 4, "burst_cycles": 8}, "over 4 bursts, bursts of 8 cycles"),
        ({"bandwidth_hz": (20.8, 20000.0)}, "21 Hz to 20 kHz"),
        ({"bandwidth_hz": (0.0, 24000.0)}, "up to 24 kHz"),
        ({"peak_bandwidth_hz": (0.0, 24000.0)}, "peak read up to 24 kHz"),
        ({"bandwidth_hz": (1200.0, 24000.0)}, "1.2 kHz to 24 kHz"),
        ({"supply_v": 14.5}, "14.50 V"),
        ({"smoothed_s": 2.0833e-05}, "means over 20.83 µs"),
        ({"within": 0.01}, "back to within 1 %"),
        ({"emf_v": 14.666}, "14.67 V at no current"),
        ({"current_a": (0.9, 39.1), "readings": 3}, "currents 0.9 A to 39.1 A, 3 readings"),
        ({"onset": "where a hard limit would begin to give this distortion"}, "where distortion starts to rise"),
        ({"basis": "fundamentals, frames under 0.25 of the highest voltage"},
         "from the tone while under 25 % of the highest voltage"),
        ({"basis": "something new"}, "from something new"),
        ({"bandwidth_hz": (math.nan, math.inf)}, "nan Hz to inf kHz"),
        ({"slope_db_per_s": math.inf}, "rising inf dB/s"),
    ],
)  # fmt: skip
def test_each_condition_has_its_phrase(conditions, said):
    assert conditions_text(conditions) == said


@pytest.mark.parametrize(
    ("figure", "name", "conditions"),
    [
        (made("sustained_power", 512.0, at_s=30.0, load_ohm=2.01), "Sustained power at 30 s", {"load_ohm": 2.01}),
        (made("sustained_power", 512.0), "Sustained power", {}),
        (made("power_at_thd_1", 512.0, thd_n=0.01), "Power at 1 % distortion", {}),
        (made("efficiency", 0.9, 0.0, "W/W", thd_n=0.01), "Efficiency at 1 % distortion", {}),
        (made("burst_recovery", 0.1, 0.0, "s", of="supply voltage"), "Recovery of the supply voltage", {}),
        (made("noise_rms_a", 0.1, 0.0, "V", weighting="A"), "Noise, A-weighted", {}),
        (made("noise_rms", 0.1, 0.0, "V", weighting="none"), "Noise, r.m.s.", {"weighting": "none"}),
    ],
)
def test_what_the_name_tells_is_not_told_again(figure, name, conditions):
    assert face_name(figure) == name
    assert telling_conditions(figure) == conditions


def test_a_harmonic_at_the_floor_has_no_phase_to_tell():
    there, lost = (made("harmonic_3", v, 1e-7, "V/V", floor=1e-7, phase_rad=1.0) for v in (1e-4, 2e-7))
    assert "phase_rad" in telling_conditions(there)
    assert "phase_rad" not in telling_conditions(lost)


def test_a_line_of_the_plain_table_is_broken_beside_no_number():
    said = {f"long_condition_number_{n}_v": 10.0 + n for n in range(12)}
    table = figures_table([CaptureResult(file="a.wav", kind="steady", figures=(made("load_power", 1.0, 0.1, **said),))])
    lines = table.splitlines()
    assert max(len(line) for line in lines) <= WIDEST
    assert len(lines) > 4
    assert not any(re.search(r"\d$", line) for line in lines)
    assert " ".join(table.split()).count(" V,") == 11


def test_conditions_stand_under_a_value_that_leaves_no_room():
    table = figures_table([CaptureResult(file="a.wav", kind="idle", figures=(made("x" * 80, 1.0, at_s=3.0),))])
    assert [line.strip() for line in table.splitlines()[-2:]] == ["X" + "x" * 79 + "  1 W", "at 3 s; 0-1 s"]


def test_signs_of_doubt_stand_under_each_other(results):
    for part in figures_table(results).split("\n\n"):
        places = {line.index(" ± ") for line in part.splitlines() if " ± " in line}
        assert len(places) == 1


def test_each_typed_reading_is_named_by_its_line():
    readings = [
        CaptureResult(
            file="r.csv",
            kind="readings",
            figures=(Figure(name="load_power", value=1.0, u=0.1, unit="W", origin=f"r.csv line {line}"),),
        )
        for line in (2, 3)
    ]
    headings = [group.heading for group in figure_groups(readings)]
    assert headings == [f"r.csv, line {line}, typed meter readings, output A" for line in (2, 3)]
    assert [row.origin for group in figure_groups(readings) for row in group.rows] == ["", ""]


def test_the_budget_lists_each_source(results):
    figure = results[0].figure("power_at_thd_1")
    text = budget_text(figure)
    assert [label in text for label in ("scale of load_voltage", "resistance of 4 ohm", "frame to frame")] == [True] * 3
    shares = [int(line.split("%")[0].split()[-1]) for line in text.splitlines()[1:]]
    assert shares == [81, 16, 3]


def test_a_figure_without_doubt_has_no_budget():
    assert budget_text(made("load_power", 3.0)) == "Power in the load: 3 W"


def test_markdown_of_a_hostile_name_keeps_its_cells():
    figure = made("load_power", 3.0, note="a|b\n# c")
    table = figures_table([CaptureResult(file="<b>|x.wav", kind="steady", figures=(figure,))], style="markdown")
    row = next(line for line in table.splitlines() if line.startswith("| Power"))
    assert row.replace("\\|", "").count("|") == 4
    assert "### \\<b\\>\\|x.wav" in table
