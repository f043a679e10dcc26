import csv
import io
import json
import math

import jsonschema

from wattproof import __version__
from wattproof.measure import CaptureResult, Figure
from wattproof.report import figures_csv, results_json


def read(text):
    return list(csv.DictReader(io.StringIO(text)))


def test_the_csv_stays_as_it_was(results, snapshot):
    rounded = [
        {key: f"{float(cell):.6g}" if key in {"value", "u", "lower95", "upper95", "supply_v"} and cell else cell
         for key, cell in row.items() if key != "conditions"}
        for row in read(figures_csv(results))
    ]  # fmt: skip
    assert rounded == snapshot


def test_the_csv_gives_back_every_number_exactly(results):
    figures = [figure for result in results for figure in result.figures]
    rows = read(figures_csv(results))
    assert len(rows) == len(figures)
    for row, figure in zip(rows, figures, strict=True):
        assert float(row["value"]) == figure.value
        assert (float(row["lower95"]), float(row["upper95"])) == figure.interval95
        assert json.loads(row["conditions"]) == json.loads(json.dumps(figure.conditions))
    assert rows[0]["bandwidth_low_hz"] == "10.0"


def test_a_name_cannot_become_a_formula():
    figure = Figure(name="load_power", value=-1.0, u=0.1, unit="W", origin="=1+1 0-1 s")
    (row,) = read(figures_csv([CaptureResult(file='=HYPERLINK("x"),\n"', kind="steady", figures=(figure,))]))
    assert row["file"] == '\'=HYPERLINK("x"),\n"'
    assert row["origin"].startswith("'=")
    assert row["value"] == "-1.0"


def test_a_lone_carriage_return_stays_inside_its_cell():
    figure = Figure(name="load_power", value=1.0, u=0.1, unit="W", origin="0-1 s")
    text = figures_csv([CaptureResult(file="wren\rteal.wav", kind="steady", figures=(figure,))])
    # as a spreadsheet reads it: any of the three line ends, unless in quotation marks
    (row,) = csv.DictReader(io.StringIO(text, newline=""))
    assert row["file"] == "wren\rteal.wav"
    assert text.count("\n") == 2
    assert "\r\n" not in text


def test_the_object_is_valid_against_the_model_s_own_schema(results):
    made = results_json(results, views=True)
    assert (made["wattproof"], made["schema"]) == (__version__, 1)
    text = json.loads(json.dumps(made, allow_nan=False))
    for capture in text["captures"]:
        jsonschema.validate(capture, CaptureResult.model_json_schema())
    assert [CaptureResult.model_validate(capture) for capture in text["captures"]] == list(results)


def test_views_are_left_out_unless_asked_for(results):
    assert all("views" not in capture for capture in results_json(results)["captures"])


def test_a_value_that_is_no_number_is_null():
    figure = Figure(name="load_power", value=math.nan, u=0.0, unit="W", origin="a")
    (capture,) = results_json([CaptureResult(file="a", kind="steady", figures=(figure,))])["captures"]
    assert json.loads(json.dumps(capture, allow_nan=False))["figures"][0]["value"] is None
