"""The bench's pages without scripts: examples, calibration worked by hand, what is overdue, check and floor."""

import re
import time
import tomllib
from datetime import date, timedelta

import numpy as np
import pytest

from wattproof.bench import Bench, BenchChannel, Limits, Load, Meter, RigSettings, Supply, parse_bench
from wattproof.tasks.bench_examples import AUDIO_INTERFACE
from wattproof.tasks.bench_fields import BENCH_PARTS
from wattproof.tasks.paper_fields import merged, shown

PAIRS = [("-41.9", "-0.5"), ("0.1", "0"), ("21.0", "0.25"), ("42,3", "0.5"), ("", "")]


def token_of(page):
    return re.search(r'name="form_token" value="([0-9a-f]+)"', page.text)[1]


@pytest.fixture
def bench(browser):
    """A browser, and the address of a bench made of the example."""
    token = token_of(browser.get("/bench"))
    answer = browser.post("/bench/example", data={"form_token": token, "example": "audio"})
    assert answer.headers["location"] == "/bench/boathouse-bench"
    browser.token = token
    return browser


def calibrated(bench, do, **said):
    data = {
        "form_token": bench.token, "do": do, "channel": "0", "u_reference_percent": "0.1", "day": "2031-05-14",
        "reference": [one for one, _ in PAIRS], "reading": [one for _, one in PAIRS], **said,
    }  # fmt: skip
    return bench.post("/bench/boathouse-bench/calibrate", data=data)


def file_of(bench):
    return bench.get("/bench/boathouse-bench/file").text


def done(browser, job):
    until = time.monotonic() + 60
    while time.monotonic() < until:
        answer = browser.get(job)
        if "location" in answer.headers or "That did not work" in answer.text:
            return answer
        time.sleep(0.1)
    raise AssertionError


def test_the_form_says_all_of_the_example_and_gives_it_back_as_it_was():
    said = tomllib.loads(AUDIO_INTERFACE)
    made, wrong = merged(BENCH_PARTS, said, shown(BENCH_PARTS, said))
    assert wrong == {}
    assert {key: value for key, value in made.items() if value is not None} == said
    assert parse_bench(AUDIO_INTERFACE, file="example").rig.kind == "audio"


def test_every_field_of_the_form_is_a_key_of_the_file():
    models = {"": Bench, "channels": BenchChannel, "loads": Load, "meters": Meter, "supply": Supply, "limits": Limits}
    for part in BENCH_PARTS:
        model = models.get(part.key, RigSettings if part.key == "rig" else None)
        for one in part.fields if model is not None else ():
            assert one.key.split(".")[0] in model.model_fields, f"{part.key}.{one.key}"


def test_a_line_is_fitted_shown_and_taken_over_with_its_day(bench):
    before = file_of(bench)
    page = calibrated(bench, "fit")
    assert page.status_code == 200
    assert file_of(bench) == before  # shown only
    readings, references = np.array([-0.5, 0.0, 0.25, 0.5]), np.array([-41.9, 0.1, 21.0, 42.3])
    slope, start = np.polyfit(readings, references, 1)  # another road to the same line
    assert "<svg" in page.text
    assert 'value="42,3"' in page.text

    assert calibrated(bench, "take").status_code == 303
    channel = tomllib.loads(file_of(bench))["channels"][0]
    assert channel["scale"] == pytest.approx(slope, abs=0.01)
    assert channel["offset"] == pytest.approx(start, abs=0.01)
    assert channel["scale_u"] > 0.001  # no better than the meter
    assert channel["calibrated"] == date(2031, 5, 14)
    assert channel["role"] == "load_voltage"
    assert "# first input of the interface" in file_of(bench)  # comments stay
    bench.post("/bench/boathouse-bench/back", data={"form_token": bench.token})
    assert file_of(bench) == before


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ({"reading": ["-0.5", "0", "half", "0.5", ""]}, "&#34;half&#34; is no number"),
        ({"reference": ["-41.9", "", "21", "42", ""]}, "it is empty"),
        ({"reference": ["1", "2"], "reading": ["1", "2"]}, "2"),
        ({"day": "14.5.2031"}, "is no day"),
        ({"channel": "9"}, "No channel was chosen"),
    ],
)
def test_readings_that_settle_no_line_are_told_and_stay(bench, said, told):
    page = calibrated(bench, "take", **said)
    assert page.status_code == 422
    assert told in page.text
    assert 'role="alert"' in page.text
    assert "calibrated =" not in file_of(bench)


def test_an_overdue_calibration_is_told_in_words(bench):
    then = date.today() - timedelta(days=400)  # noqa: DTZ011
    text = file_of(bench).replace("scale_u = 0.01 ", f"calibrated = {then}\ncalibration_days = 365\nscale_u = 0.01 ", 1)
    assert bench.post("/bench/boathouse-bench/text", data={"form_token": bench.token, "text": text}).status_code == 303
    assert re.search(r"Overdue:</span> .*400.days old", bench.get("/bench").text)
    page = bench.get("/bench/boathouse-bench")
    assert "Overdue:" in page.text
    assert "overdue: calibrated on" in page.text


def test_a_form_changes_what_it_shows_and_nothing_else(bench):
    page = bench.get("/bench/boathouse-bench").text
    assert re.search(r'name="channels\.0\.scale"[^>]*?value="84"', page)
    data = {"form_token": bench.token, "do": "keep", "state": "1", ".0.name": "Boathouse bench"}
    data |= {
        "channels.0.was": "0",
        "channels.0.input": "1",
        "channels.0.role": "load_voltage",
        "channels.0.scale": "64",
    }
    data |= {"loads.0.was": "0", "loads.0.name": "4 ohm", "loads.0.resistance_ohm": "4.1"}
    assert bench.post("/bench/boathouse-bench", data=data).status_code == 303
    said = tomllib.loads(file_of(bench))
    assert [one["input"] for one in said["channels"]] == [1]  # the second row was left out
    assert (said["channels"][0]["scale"], said["channels"][0]["output"]) == (64, "A")
    assert said["loads"][0]["resistance_ohm"] == 4.1
    assert said["rig"]["kind"] == "audio"


def test_two_channels_of_one_input_are_refused(bench):
    data = {"form_token": bench.token, "do": "keep", "channels.0.input": "1", "channels.0.role": "load_voltage"}
    data |= {"channels.1.input": "1", "channels.1.role": "drive_voltage"}
    answer = bench.post("/bench/boathouse-bench", data=data)
    assert answer.status_code == 422
    assert "takes input 1" in answer.text


def test_a_simulated_bench_is_spoken_to_and_its_floor_measured(browser):
    token = token_of(browser.get("/bench"))
    address = browser.post("/bench/example", data={"form_token": token, "example": "bittern-1"}).headers["location"]
    name = address.rpartition("/")[2]
    text = browser.get(f"{address}/file").text.replace("paced = true", "paced = false")
    browser.post(f"{address}/text", data={"form_token": token, "text": text})
    checked = done(browser, browser.post(f"{address}/check", data={"form_token": token}).headers["location"])
    assert checked.headers["location"] == f"/bench/{name}#check"
    assert re.search(r'class="state (good|doubtful)"', browser.get(address).text)
    floor = done(browser, browser.post(f"{address}/floor", data={"form_token": token}).headers["location"])
    assert floor.headers["location"] == f"/bench/{name}#floor"
    assert re.search(r"<pre[^>]*>[^<]*load voltage A", browser.get(address).text)


def test_a_floor_that_cannot_be_measured_is_told_with_what_to_do(bench):
    job = bench.post("/bench/boathouse-bench/floor", data={"form_token": bench.token}).headers["location"]
    said = done(bench, job).text
    assert re.search(r"That did not work.*>why<.*>try<", said, re.DOTALL)


def test_what_is_not_there_is_told_kindly(browser):
    for path in ("/bench/none", "/bench/none/file", "/bench/..%2f..%2fetc", "/amplifiers/none"):
        answer = browser.get(path)
        assert answer.status_code in {400, 404}
        assert "Traceback" not in answer.text
