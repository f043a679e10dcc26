import math

import pytest

from wattproof.measure import CaptureResult, Figure
from wattproof.report import budget_text, figure_groups, figures_table
from wattproof.report.faces import conditions_text, face_value, remarks


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
    assert conditions_text({"frame_s": 0.0213, "method": "joint fit"}) == "frame 0.0213 s, method joint fit"


def test_known_conditions_are_said_in_a_phrase():
    said = conditions_text(
        {"thd_n": 0.01, "thd_basis": "total", "phase_rad": 3.141592653589793, "weighting": "none", "basis": "v*i"}
    )
    assert said == "at 1 % distortion and noise, re total, phase 180.0°, unweighted, from v·i"
    assert conditions_text({"basis": ""}) == ""
    assert conditions_text({"slope_db_per_s": 8.01, "frame_cycles": 1}) == "rising 8.01 dB/s, cycles in a frame: 1"


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
