"""Rows of tables: nothing lost or rounded, nothing that a spreadsheet would run, no number where there is none."""

import csv
import io
import json

import polars
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wattproof.errors import Notice
from wattproof.judge import Judged, Judgement, Reading, Rule
from wattproof.measure import CaptureResult, CurvePoint, Figure
from wattproof.quantity import BudgetLine, Quantity
from wattproof.report import (
    BUDGETS,
    CAPTURES,
    CURVES,
    FIGURES,
    FORMS,
    NOTICES,
    VERDICTS,
    TableForm,
    Whose,
    budget_rows,
    capture_rows,
    curve_rows,
    figure_rows,
    notice_rows,
    table_csv,
    table_frame,
    tables_readme,
    verdict_rows,
)
from wattproof.report.tables import TableColumn

WHOSE = Whose(session="2031-05-14-otter-4-a3f9", maker='=1+1, "Reed" & Marten', model="Otter\n4")
POWER = Figure(
    value=0.1 + 0.2,
    u=1e-17,
    k95=1.98,
    unit="W",
    dof=12.5,
    name="load_power",
    output="A",
    conditions={
        "frequency_hz": 47.0,
        "load_ohm": 4.03,
        "bandwidth_hz": (20.0, 20000.0),
        "basis": "v*i",
        "outputs_measured": 2,
        "slope_db_per_s": 12.0,
        "of": 'Ω "x"',
    },
    origin="ramp.wav 1.62-1.71 s",
    budget=(
        BudgetLine(source="bench: scale", label="scale", u=3e-18, sign=-1, type="B"),
        BudgetLine(source="ramp: noise", label="noise", u=9.5e-18, type="A", dof=11.0),
    ),
)
WHOLE = Figure(value=2.5, u=0.0, unit="A", name="idle_current", output=None, origin="idle.wav")
RESULTS = [
    (
        3,
        CaptureResult(
            file="ramp.wav",
            kind="ramp",
            figures=(POWER, WHOLE),
            curve=(
                CurvePoint(t_s=0.5, load_power=4.8, temperature=float("nan")),
                CurvePoint(t_s=0.5, output="B", gain=float("inf")),
                CurvePoint(t_s=0.6, load_power=5.8),
            ),
            warnings=(Notice(code="clipped-input", message="-3 samples, at the limit", hint=""),) * 2,
        ),
    ),
    (4, CaptureResult(file="readings.csv", kind="readings", figures=(WHOLE,))),
]


def as_dicts(form, rows):
    return [dict(zip([column.name for column in form.columns], row, strict=True)) for row in rows]


def back(form, text):
    """Read our CSV by another road: the standard library's reader, and one apostrophe off."""
    kinds = {column.name: column.type for column in form.columns}
    read = {
        "text": lambda t: t.removeprefix("'"),
        "number": float,
        "integer": int,
        "truth": {"true": True, "false": False}.get,
    }
    return [
        {name: None if cell == "" else read[kinds[name]](cell) for name, cell in row.items()}
        for row in csv.DictReader(io.StringIO(text, newline=""))
    ]


def test_figures_keep_every_digit_and_their_number_in_the_session():
    rows = as_dicts(FIGURES, figure_rows(WHOSE, RESULTS))
    assert [(r["capture"], r["figure"], r["name"], r["output"]) for r in rows] == [
        (3, 1, "load_power", "A"), (3, 2, "idle_current", None), (4, 3, "idle_current", None),
    ]  # fmt: skip
    first = rows[0]
    assert (first["value"], first["u"], first["k95"], first["dof"]) == (0.30000000000000004, 1e-17, 1.98, 12.5)
    assert (first["low95"], first["high95"]) == POWER.interval95
    assert first["unit"] == "W"


def test_common_conditions_have_columns_and_the_rest_is_json():
    first = as_dicts(FIGURES, figure_rows(WHOSE, RESULTS))[0]
    assert (first["frequency_hz"], first["load_ohm"], first["supply_v"]) == (47.0, 4.03, None)
    assert (first["bandwidth_low_hz"], first["bandwidth_high_hz"]) == (20.0, 20000.0)
    assert (first["basis"], first["outputs_measured"]) == ("v*i", 2)
    assert json.loads(first["conditions"]) == {"slope_db_per_s": 12.0, "of": 'Ω "x"'}


@pytest.mark.parametrize(
    "odd", [{"frequency_hz": "pink noise"}, {"bandwidth_hz": (20.0,)}, {"basis": 3.0}, {"outputs_measured": 1.5}]
)
def test_a_condition_of_another_kind_is_kept_in_the_json(odd):
    figure = POWER.model_copy(update={"conditions": odd})
    result = CaptureResult(file="x", kind="steady", figures=(figure,))
    (row,) = as_dicts(FIGURES, figure_rows(WHOSE, [(1, result)]))
    ((name, value),) = odd.items()
    assert json.loads(row["conditions"]) == {name: list(value) if isinstance(value, tuple) else value}
    assert row.get(name) is None


def test_budget_lines_point_to_their_figure():
    rows = as_dicts(BUDGETS, budget_rows(WHOSE, RESULTS))
    assert [(r["figure"], r["source"], r["sign"], r["dof"]) for r in rows] == [
        (1, "bench: scale", -1, None), (1, "ramp: noise", 1, 11.0),
    ]  # fmt: skip
    assert {r["unit"] for r in rows} == {"W"}


def test_frames_are_counted_by_output_and_no_number_stands_where_there_is_none():
    rows = as_dicts(CURVES, curve_rows(WHOSE, RESULTS))
    assert [(r["output"], r["frame"], r["load_power_w"]) for r in rows] == [
        ("A", 1, 4.8),
        ("B", 1, None),
        ("A", 2, 5.8),
    ]
    assert rows[0]["temperature"] is None
    assert rows[1]["gain"] is None


def test_a_notice_is_told_once():
    rows = as_dicts(NOTICES, notice_rows(WHOSE, RESULTS))
    assert [(r["capture"], r["code"], r["hint"]) for r in rows] == [(3, "clipped-input", None)]


def verdict(rating, **changes):
    known = {
        "rating": rating, "quantity": "power", "claimed": 100.0, "unit": "W", "sense": "at least",
        "reading": Reading(words="1 %", assumed=("47 Hz", "one driven")), "measured": None, "corrected": None,
        "verdict": "cannot tell", "why": "nothing was measured",
    }  # fmt: skip
    return Judgement(**{**known, **changes})


def test_verdicts_are_numbered_within_their_rating():
    power = Quantity(value=99.0, u=0.5, unit="W")
    judged = Judged(
        amplifier="Otter 4",
        rule=Rule(confidence=0.9),
        ratings=("power 100 W", "power 60 W"),
        judgements=(verdict(0), verdict(1), verdict(1, measured=power, corrected=power, margin=-0.01)),
    )
    rows = as_dicts(VERDICTS, verdict_rows(WHOSE, judged))
    assert [(r["rating"], r["reading"], r["rating_words"]) for r in rows] == [
        (0, 1, "power 100 W"), (1, 1, "power 60 W"), (1, 2, "power 60 W"),
    ]  # fmt: skip
    assert (rows[0]["measured"], rows[0]["at_rated_low95"], rows[0]["probability"]) == (None, None, None)
    assert rows[0]["assumed"] == "47 Hz; one driven"
    assert (rows[2]["measured"], rows[2]["measured_unit"]) == (99.0, "W")
    assert (rows[2]["at_rated_low95"], rows[2]["at_rated_high95"]) == power.interval95
    assert {r["confidence"] for r in rows} == {0.9}


def test_a_fact_without_a_column_is_a_fault_of_ours():
    (row,) = as_dicts(CAPTURES, capture_rows(WHOSE, [{"capture": 1, "samples": 5}]))
    assert (row["model"], row["capture"], row["samples"], row["void"]) == ("Otter\n4", 1, 5, None)
    with pytest.raises(KeyError, match="colour"):
        list(capture_rows(WHOSE, [{"colour": "grey"}]))


TABLES = [
    (FIGURES, list(figure_rows(WHOSE, RESULTS))),
    (BUDGETS, list(budget_rows(WHOSE, RESULTS))),
    (CURVES, list(curve_rows(WHOSE, RESULTS))),
    (NOTICES, list(notice_rows(WHOSE, RESULTS))),
]


@pytest.mark.parametrize(("form", "rows"), TABLES, ids=[form.name for form, _ in TABLES])
def test_csv_comes_back_as_it_was(form, rows):
    assert rows
    assert back(form, table_csv(form, rows)) == as_dicts(form, rows)


@pytest.mark.parametrize(("form", "rows"), TABLES, ids=[form.name for form, _ in TABLES])
def test_parquet_comes_back_as_it_was(form, rows):
    file = io.BytesIO()
    table_frame(form, rows).write_parquet(file)
    file.seek(0)
    assert polars.read_parquet(file).to_dicts() == as_dicts(form, rows)


def test_a_table_without_rows_keeps_its_columns_and_types():
    for form in FORMS:
        assert table_csv(form, []).splitlines() == [",".join(column.name for column in form.columns)]
        assert table_frame(form, []).columns == [column.name for column in form.columns]
        assert table_csv(form, [], head=False) == ""


FORM = TableForm(
    name="any",
    row="anything",
    key=("text",),
    columns=(
        TableColumn(name="text", type="text", about="a text"),
        TableColumn(name="number", type="number", about="a number", unit="V"),
        TableColumn(name="integer", type="integer", about="a count", unit="1"),
        TableColumn(name="truth", type="truth", about="yes or no"),
    ),
)
ANY_TEXT = st.none() | st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), min_size=1)
ANY_ROW = st.tuples(
    ANY_TEXT,
    st.none() | st.floats(allow_nan=False, allow_infinity=False),
    st.none() | st.integers(-(2**63), 2**63 - 1),
    st.none() | st.booleans(),
)


@settings(max_examples=50, deadline=None)
@given(rows=st.lists(ANY_ROW, max_size=4))
def test_any_text_and_any_number_survive_both_roads(rows):
    wanted = as_dicts(FORM, rows)
    assert back(FORM, table_csv(FORM, rows)) == wanted
    file = io.BytesIO()
    table_frame(FORM, rows).write_parquet(file)
    file.seek(0)
    assert polars.read_parquet(file).to_dicts() == wanted


@pytest.mark.parametrize("first", ["=", "+", "-", "@", "\t", "\r", "'"])
def test_no_text_is_a_formula_to_a_spreadsheet(first):
    ((cell,),) = csv.reader(io.StringIO(table_csv(one_text(), [(f"{first}cmd",)], head=False), newline=""))
    assert cell == f"'{first}cmd"


def one_text():
    return TableForm(name="t", row="t", key=("t",), columns=(TableColumn(name="t", type="text", about="t"),))


def test_numbers_below_zero_stay_numbers():
    assert table_csv(FORM, [(None, -1.5, -2, None)], head=False) == ",-1.5,-2,\n"


def test_every_number_has_its_unit_and_every_column_its_meaning():
    for form in FORMS:
        names = [column.name for column in form.columns]
        assert len(set(names)) == len(names)
        assert set(form.key) <= set(names)
        for column in form.columns:
            assert column.about, column.name
            if column.type in {"number", "integer"}:
                assert bool(column.unit) is not bool(column.unit_in), column.name
                assert column.unit_in in {"", *names}
            else:
                assert not column.unit


def test_the_words_beside_the_tables_name_each_and_fit_a_window():
    rows = {form.name: number for number, form in enumerate(FORMS)}
    text = tables_readme([f"s{n}" for n in range(20)], rows, samples=True, program="wattproof 0.1.0")
    assert max(map(len, text.splitlines())) <= 110
    assert "Sessions: 20." in text
    assert "s19" not in text
    for form in FORMS:
        assert f"- {form.name} ({rows[form.name]} rows)" in text
    assert "offset + factor x sample" in text
    assert "captures/" not in tables_readme(["s"], rows, samples=False, program="wattproof 0.1.0")
