"""The run sheet's page: an example taken, a day planned, edited, taken back, printed; nothing typed is lost."""

import re

import pytest

from wattproof import tasks
from wattproof.tasks import SheetEdit, Workbench


def token_of(page):
    return re.search(r'name="form_token" value="([0-9a-f]+)"', page.text)[1]


def post(browser, path, **said):
    said["form_token"] = token_of(browser.get("/sheet"))
    return browser.post(path, data=said)


@pytest.fixture
def place(server, tmp_path):
    """A workbench with one example taken, and a browser."""
    with server(tmp_path / "archive").browser() as browser:
        taken = post(browser, "/sheet/example", example="bittern-1", pace="real")
        assert taken.status_code == 303
        yield Workbench(tmp_path / "archive"), browser, taken.headers["location"]


WISHES = {"amplifier": "bittern-1", "bench": "simulated-bittern-1", "loads": ["4 ohm"], "burst": "none", "hold_s": "2"}


def test_an_example_is_taken_with_one_button_and_offers_what_its_bench_has(place):
    _, browser, address = place
    page = browser.get(address).text
    assert 'value="4 ohm" checked' in page
    assert 'value="2 ohm" checked' in page
    assert 'name="supply_v" type="text" value="14.4"' in page
    bench = tasks.paper_show("bench", "simulated-bittern-1", archive=place[0].archive).text
    assert "paced = true" in bench
    assert browser.get("/sheet").text.count("<option value=") >= len(place[0].sheets.examples) == 5


def test_a_plan_says_what_the_task_says(place):
    desk, browser, _ = place
    answer = post(browser, "/sheet", **WISHES)
    assert answer.status_code == 303
    page = browser.get(answer.headers["location"]).text
    archive = desk.archive
    files = [tasks.paper_show(kind, WISHES[kind], archive=archive).file for kind in ("amplifier", "bench")]
    planned = tasks.plan(*files, wishes=tasks.SheetWishes(loads=("4 ohm",), burst="none", hold_s=2)).sheet
    assert [step.name for step in planned.steps] == re.findall(r'name="step" value="\d+">\d+ ([^<]+)<', page)
    for question in planned.questions:
        assert f'name="answer-{question.code}"' in page
    assert page.count('class="mark') == len(planned.decidable)
    assert "no rings" in page


def test_a_wrong_number_is_told_on_the_same_page_with_all_that_was_typed(place):
    _, browser, _ = place
    answer = post(browser, "/sheet", **{**WISHES, "tone_hz": "fourty", "name": "boathouse day"})
    assert answer.status_code == 422
    assert "Test tone: &#34;fourty&#34; is no number." in answer.text
    for typed in ('value="fourty"', 'value="boathouse day"', 'value="4 ohm" checked', 'value="2 ohm">'):
        assert typed in answer.text
    far = post(browser, "/sheet", **{**WISHES, "hold_s": "99999"})
    assert (far.status_code, "--hold-s cannot be 99999" in far.text) == (422, True)


def steps_of(desk, name):
    return [step.name for step in desk.sheets.see(name).sheet.steps]


def test_steps_are_moved_changed_left_out_and_taken_back(place):
    desk, browser, _ = place
    name = post(browser, "/sheet", **WISHES).headers["location"].rpartition("/")[2]
    names = steps_of(desk, name)
    fields = {"step": ["1", "2", "3", "4", "5"], "seconds-2": "4,5", "seconds-5": "2", "state": "1"}
    assert post(browser, f"/sheet/{name}/edit", **fields, move="up-2").status_code == 303
    assert steps_of(desk, name) == [names[1], names[0], *names[2:]]
    first = desk.sheets.see(name).sheet.steps[0]
    assert (first.number, first.seconds) == (1, 4.5)
    out = post(browser, f"/sheet/{name}/edit", step=fields["step"], move="out-5")
    assert out.status_code == 303
    assert steps_of(desk, name) == [names[1], names[0], *names[2:4]]
    assert desk.sheets.see(name).sheet.full_power_s == pytest.approx(
        desk.sheets.see(name).sheet.steps[3].expected.full_power_s
    )
    assert post(browser, f"/sheet/{name}/back").status_code == 303
    assert steps_of(desk, name) == [names[1], names[0], *names[2:]]
    assert post(browser, f"/sheet/{name}/back").status_code == 303
    assert steps_of(desk, name) == names
    assert 'name="to" value="3"' in browser.get(f"/sheet/{name}").text
    assert post(browser, f"/sheet/{name}/back", to="3").status_code == 303
    assert len(steps_of(desk, name)) == len(names) - 1


def test_a_level_that_came_back_as_it_was_shown_changes_nothing(place):
    desk, browser, _ = place
    name = post(browser, "/sheet", **WISHES).headers["location"].rpartition("/")[2]
    before = desk.sheets.see(name).sheet
    shown = dict(re.findall(r'name="((?:level|seconds)-\d+)" value="([^"]+)"', browser.get(f"/sheet/{name}").text))
    assert len(shown) == 7
    post(browser, f"/sheet/{name}/edit", step=["1", "2", "3", "4", "5"], **shown)
    after = desk.sheets.see(name).sheet
    assert [(step.seconds, step.to_v_rms) for step in after.steps] == [(s.seconds, s.to_v_rms) for s in before.steps]


@pytest.mark.parametrize("typed", ["0", "-3", "nan", "inf", "1e9", "a while"])
def test_a_senseless_length_is_refused_and_stays_in_its_field(place, typed):
    desk, browser, _ = place
    name = post(browser, "/sheet", **WISHES).headers["location"].rpartition("/")[2]
    answer = post(browser, f"/sheet/{name}/edit", **{"step": ["1", "2"], "seconds-2": typed})
    assert answer.status_code == 422
    assert f'value="{typed}"' in answer.text
    assert desk.sheets.see(name).states == (1,)


def test_a_hold_before_its_ramp_is_refused_on_the_page_and_cannot_start(place):
    desk, browser, _ = place
    name = post(browser, "/sheet", **WISHES).headers["location"].rpartition("/")[2]
    desk.sheets.edit(name, SheetEdit(order=(1, 2, 3, 5, 4)))
    page = browser.get(f"/sheet/{name}").text
    assert "This run must not begin: 1 of the checks above is refused." in page
    assert 'data-may="no"' in page


def test_the_page_to_print_has_its_styles_and_no_script(place):
    _, browser, _ = place
    name = post(browser, "/sheet", **WISHES).headers["location"].rpartition("/")[2]
    page = browser.get(f"/sheet/{name}/print")
    policy = page.headers["content-security-policy"]
    assert "script-src" not in policy
    assert "default-src 'none'" in policy
    assert "<style" in page.text
    assert "<script" not in page.text


def test_a_sheet_whose_papers_are_gone_says_so(place):
    desk, browser, _ = place
    name = post(browser, "/sheet", **WISHES).headers["location"].rpartition("/")[2]
    text = tasks.paper_show("amplifier", "bittern-1", archive=desk.archive).text
    other = desk.archive / "other.toml"
    other.write_text(text.replace("Bittern 1", "Bittern 2"), encoding="utf-8")
    tasks.paper_keep("amplifier", other, name="bittern-1", archive=desk.archive)
    page = browser.get(f"/sheet/{name}").text
    assert "The amplifier paper that this sheet was made of is gone" in page
    answer = post(browser, f"/sheet/{name}/edit", step=["1", "2", "3", "4", "5"])
    assert (answer.status_code, "cannot be looked at anew" in answer.text) == (422, True)


def test_what_is_not_there_is_told_kindly(place):
    _, browser, _ = place
    assert "There is no sheet paper" in browser.get("/sheet/nowhere").text
    assert post(browser, "/sheet/example", example="../../etc").status_code == 422
    assert browser.get("/sheet?amplifier=nobody&bench=nothing").status_code == 422
