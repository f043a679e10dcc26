"""What a session found, on its page: figures, verdicts, a model to move, and captures marked as void and back."""

import re
import time

import pytest

from wattproof import tasks
from wattproof.archive import Archive
from wattproof.sim import bench_day

LOADS = {"03-ramp-4-ohm.flac": "4 ohm", "04-ramp-2-ohm.wav": "2 ohm"}


def token_of(page):
    return re.search(r'name="form_token" value="([0-9a-f]+)"', page.text)[1]


def words_of(page):
    text = re.sub(r"<(script|style|svg|option)\b.*?</\1>", " ", page.text, flags=re.DOTALL)
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", text)).replace("\N{NO-BREAK SPACE}", " ")


def arrived(browser, answer):
    """Follow a form's answer to the end of the work that it began."""
    where = answer.headers["location"]
    until = time.monotonic() + 60
    while where.startswith("/jobs/"):
        job = browser.get(f"{where}/state").json()
        assert job["state"] in {"waiting", "working", "done"}, words_of(browser.get(where))
        assert time.monotonic() < until
        where = job["address"] or where
        time.sleep(0.05)
    return browser.get(where)


@pytest.fixture(scope="module")
def samples(tmp_path_factory):
    folder = tmp_path_factory.mktemp("findings")
    with pytest.MonkeyPatch.context() as patch:  # the steps that are needed, for each takes its time
        patch.setattr(bench_day, "STEPS", [step for step in bench_day.STEPS if step.file in LOADS])
        bench_day.write_samples(folder)
    return folder


@pytest.fixture
def kept(samples, tmp_path):
    """Keep ramps of the made-up bench day in a session, not measured."""

    def keep(*names):
        archive = tmp_path / "archive"
        made = tasks.session_new(samples / "amplifier.toml", samples / "bench.toml", archive=archive)
        for name in names:
            tasks.session_add(made.session, [samples / name], archive=archive, wishes=tasks.Wishes(load=LOADS[name]))
        return archive, made.session

    return keep


def test_a_session_is_measured_and_shown_and_its_model_answers_a_form_as_the_task_does(server, kept):
    archive, session = kept(*LOADS)
    with server(archive).browser() as browser:
        assert session in browser.get("/findings").text
        assert "No session is called so." in browser.get("/findings", params={"q": "no such"}).text
        before = browser.get(f"/findings/{session}")
        assert re.search(r"<button[^>]*>Measure</button>", before.text)
        token = token_of(before)
        page = arrived(browser, browser.post(f"/findings/{session}/measure", data={"form_token": token}))
        figures = tasks.session_figures(session, archive=archive).captures
        text = words_of(page)
        for result in figures:
            power = result.figure("power_at_thd_1")
            half = power.k95 * power.u
            shown = [float(number) for number in re.findall(r"Power at 1 % distortion ([\d.]+) ±", text)]
            assert any(abs(number - power.value) < half for number in shown), (power, shown)
        assert page.text.count("<details>") > sum(len(result.figures) for result in figures) / 2  # budgets on demand
        assert text.count("Verdict:") == len(tasks.judge(session, archive=archive).judged.ratings)
        assert "settle" in text
        assert page.text.count("<svg") > 6  # drawn here: nothing of it needs a script
        ids = re.findall(r'\sid="([^"]+)"', page.text)
        assert len(ids) == len(set(ids))
        for place in re.findall(r'href="#([^"]+)"', page.text):
            assert place in ids, place
        asked = {"load": "3", "supply": "14.2", "cable_mohm": "6", "thd": "1"}
        told = tasks.predict(session, load=3, supply=14.2, cable_mohm=6, archive=archive).text()
        power, low, high = re.search(r"power +([\d.]+) W +95 %: ([\d.]+) to ([\d.]+)", told).groups()
        for address in (f"/findings/{session}", f"/findings/{session}/predicted"):
            page = browser.get(address, params=asked)
            assert f"power {power} W {low} to {high} W" in words_of(page)
            assert "<html" in page.text or address.endswith("predicted")
        refused = words_of(browser.get(f"/findings/{session}/predicted", params={**asked, "load": "0.2"}))
        assert "The model says nothing here." in refused
        assert "Ask for" in refused
        wrong = browser.get(f"/findings/{session}", params={**asked, "supply": "<b>"})
        assert "is no number" in wrong.text
        assert "<b>" not in wrong.text
        assert 'value="&lt;b&gt;"' in wrong.text


def test_a_capture_is_marked_as_void_with_a_reason_kept_and_taken_back(server, kept):
    archive, session = kept("04-ramp-2-ohm.wav")
    store = Archive(archive)

    def void():
        return [one.description.void for one in store.captures(store.open_session(session))]

    with server(archive).browser() as browser:
        place = f"/findings/{session}/captures/1"
        token = token_of(browser.get(f"/findings/{session}"))
        empty = browser.post(f"{place}/void", data={"form_token": token, "why": "  "})
        assert empty.status_code == 422
        assert "No reason was given." in empty.text
        assert void() == [None]
        page = arrived(browser, browser.post(f"{place}/void", data={"form_token": token, "why": "it came <loose>"}))
        assert "it came &lt;loose&gt;" in page.text
        assert "No capture counts" in page.text
        assert not re.search(r"<button[^>]*>Measure</button>", page.text)
        assert void() == ["it came <loose>"]
        assert tasks.session_figures(session, archive=archive).captures == ()
        (record,) = store.captures(store.open_session(session))
        assert store.original_path(store.open_session(session), record).is_file()  # hashed: it is as it was added
        back = browser.post(f"{place}/unvoid", data={"form_token": token})
        assert back.headers["location"].startswith("/jobs/")  # there is something to measure again
        assert void() == [None]
        again = browser.post(f"{place}/unvoid", data={"form_token": token})
        assert again.status_code == 400
        assert "is not void" in again.text


def test_a_session_that_is_not_there_is_told(browser):
    assert "There is no session yet." in browser.get("/findings").text
    for name in ("nothing", "..", "%2e%2e", "~", "bittern"):
        missing = browser.get(f"/findings/{name}" if name != ".." else "/publish/..%00")
        assert missing.status_code in {400, 404}, name


def test_a_session_is_told_by_its_whole_name_never_by_a_place(server, kept, tmp_path, monkeypatch):
    archive, session = kept()
    elsewhere = tmp_path / "elsewhere"
    (archive / session).rename(elsewhere)
    monkeypatch.chdir(tmp_path)
    tasks.session_figures(str(elsewhere), archive=archive)  # the command line takes a place
    with server(archive).browser() as browser:
        token = token_of(browser.get("/publish"))
        for part in ("report", "data", "pack", "words"):
            answer = browser.post(f"/publish/elsewhere/{part}", data={"form_token": token, "format": "md"})
            assert answer.status_code in {400, 422}, part
        for what in ("void", "unvoid"):
            answer = browser.post(f"/findings/elsewhere/captures/1/{what}", data={"form_token": token, "why": "x"})
            assert answer.status_code == 400
        assert browser.get("/findings/elsewhere").status_code == 400
