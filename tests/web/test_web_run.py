"""A run begun and watched through pages: found again by another page and another server, stopped, and gone on with."""

import json
import os
import re
import signal
import time
from contextlib import suppress

import pytest
from websockets.sync.client import connect

from wattproof import tasks
from wattproof.archive import Archive
from wattproof.sim.collection import FOLDER

SAID = {
    "bridged": "no", "output-grounded": "no", "fuse-near-source": "yes", "hardware-stop": "yes", "load-guarded": "yes",
    "not-alone": "yes", "sensed-at-terminals": "yes", "controls": "as marked", "boost-off": "yes",
}  # fmt: skip


@pytest.fixture
def papers(tmp_path):
    """Amplifier, bench and a short sheet, on a bench that keeps step with the clock."""
    folder, archive = FOLDER / "bittern-1", tmp_path / "archive"
    bench = tmp_path / "bench.toml"
    text = (folder / "bench.toml").read_text(encoding="utf-8")
    bench.write_text(text.replace("[rig.simulated]", "[rig.simulated]\npaced = true"), encoding="utf-8")
    wishes = tasks.SheetWishes(loads=("4 ohm",), burst="none", hold_s=2.2)
    sheet = tmp_path / "sheet.json"
    sheet.write_text(tasks.plan(folder / "amplifier.toml", bench, wishes=wishes).to_json(), encoding="utf-8")
    for kind, file in (("amplifier", folder / "amplifier.toml"), ("bench", bench), ("sheet", sheet)):
        tasks.paper_keep(kind, file, name="short", archive=archive)
    yield archive
    for address in Archive(archive).windows():  # a test that failed must not leave a run behind
        with suppress(ProcessLookupError):
            os.kill(address.pid, signal.SIGTERM)


def token_of(server, browser):
    from wattproof.web import tokens

    browser.get("/run")
    name, _ = tokens.read_cookie(server.settings.secret, browser.cookies["wattproof"])
    return tokens.form_token(server.settings.secret, name)


def begun(server, browser, **more):
    said = {f"answer-{code}": words for code, words in SAID.items()}
    papers = {"amplifier": "short", "bench": "short", "sheet": "short"}
    answer = browser.post("/run/begin", data={**papers, **said, "form_token": token_of(server, browser), **more})
    assert answer.status_code == 303, answer.text
    return answer.headers["location"].rpartition("/")[2]


def socket_of(server, session, browser):
    cookie = {"cookie": f"wattproof={browser.cookies['wattproof']}"}
    return connect(f"ws://{server.host}/run/{session}/live", origin=server.address, additional_headers=cookie)


def hear(socket, *events):
    until = time.monotonic() + 30
    while time.monotonic() < until:
        message = json.loads(socket.recv(timeout=30))
        if message["event"] in events:
            return message
    raise AssertionError(events)


def stopped(archive):
    until = time.monotonic() + 30
    while Archive(archive).windows() and time.monotonic() < until:
        time.sleep(0.05)
    return not Archive(archive).windows()


def test_a_run_goes_on_without_its_server_and_is_found_by_the_next(server, papers):
    first = server(papers)
    with first.browser() as browser:
        session = begun(first, browser)
        with socket_of(first, session, browser) as one, socket_of(first, session, browser) as two:
            far = hear(one, "so-far")["last"]
            assert hear(one, "controls")["held"] == "mine"
            assert (far.get("run-begun") or hear(one, "run-begun"))["steps"] > 3
            assert hear(two, "controls")["held"] == "another's"
            assert len(hear(two, "traces")["spectrum_db"]) > 50
            two.send(json.dumps({"do": "take-controls"}))
            assert hear(two, "controls")["held"] == "mine"
    first.close()
    time.sleep(1.0)
    assert Archive(papers).windows()  # nobody chose that it stops with the pages
    second = server(papers)
    with second.browser() as browser:
        assert session in browser.get("/run").text
        with socket_of(second, session, browser) as page:
            hear(page, "so-far")
            hear(page, "live")
            page.send(json.dumps({"do": "stop"}))
            assert hear(page, "run-ended")["state"] == "interrupted"
            hear(page, "window-closed")
        assert stopped(papers)
        over = browser.get(f"/run/{session}")
        assert (over.status_code, f'href="/findings/{session}"' in over.text) == (200, True)
        assert 'id="stop"' not in over.text
        assert browser.get("/run/nowhere").status_code == 400


def test_the_drive_stops_with_the_last_page_where_that_was_chosen(server, papers, monkeypatch):
    monkeypatch.setattr("wattproof.web.pages.running.LEAVE_S", 4.0)
    here = server(papers)
    with here.browser() as browser:
        session = begun(here, browser, leave="yes")
        with socket_of(here, session, browser) as page:
            for _ in range(7):  # for longer than the four seconds, there all the while
                page.send(json.dumps({"do": "here"}))
                time.sleep(1.0)
            assert Archive(papers).windows()
        assert stopped(papers)


def test_why_a_run_cannot_begin_is_told_as_on_the_command_line(server, papers):
    here = server(papers)
    with here.browser() as browser:
        said = {"amplifier": "short", "bench": "short", "sheet": "short", "form_token": token_of(here, browser)}
        refused = browser.post("/run/begin", data={**said, "answer-hardware-stop": "no"})
        assert refused.status_code == 422
        assert "This run must not begin." in refused.text
        assert re.search(
            r'name="answer-hardware-stop" value="no" required checked', refused.text
        )  # the same page again
        missing = browser.post("/run/begin", data={**said, "amplifier": "../../etc/passwd"})
        assert missing.status_code == 422
        assert "There is no amplifier paper" in missing.text


def test_a_name_from_a_page_is_never_taken_for_a_path(server, papers):
    """A session elsewhere, which the command line would open by its path."""
    day = papers.parent / "elsewhere" / "2031-05-14-a-b"
    day.mkdir(parents=True)
    (day / "session.json").write_text("{}", encoding="utf-8")
    here = server(papers)
    with here.browser() as browser:
        for name in (str(day), "../elsewhere/2031-05-14-a-b", "~", "..", ".running"):
            answer = browser.post("/run/begin", data={"session": name, "form_token": token_of(here, browser)})
            assert (answer.status_code, "There is no session" in answer.text) == (400, True)
