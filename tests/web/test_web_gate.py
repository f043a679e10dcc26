"""The gate: other names, other sites, unknown browsers, too much, and forms that are not ours are turned away."""

import re

import httpx
import pytest
from websockets.exceptions import InvalidStatus
from websockets.sync.client import connect


def token_of(page):
    return re.search(r'name="form_token" value="([0-9a-f]+)"', page.text)[1]


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1", "evil.example:{port}", "localhost.evil.example:{port}"])
def test_another_name_for_this_machine_is_not_answered(server, host):
    here = server()
    with here.browser(host=host.format(port=here.port)) as browser:
        answer = browser.get("/")
    assert answer.status_code == 421
    assert "set-cookie" not in answer.headers


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "http://127.0.0.1:1", "file://"])
def test_a_form_of_another_site_is_turned_away(server, origin):
    here = server()
    with here.browser(origin=origin) as browser:
        assert browser.post("/jobs/1/cancel").status_code == 403
        assert browser.request("DELETE", "/").status_code == 403
        assert (
            browser.options("/api/openapi.json").status_code == 403
        )  # what a browser asks before another site's script


def test_a_change_without_an_origin_needs_the_header_that_no_other_site_can_send(server):
    here = server()
    with httpx.Client(base_url=here.address) as script:
        assert script.post("/jobs/1/cancel").status_code == 403


@pytest.mark.parametrize("origin", ["http://evil.example", None])
def test_a_socket_of_another_site_is_turned_away(server, origin):
    here = server()
    with pytest.raises(InvalidStatus) as caught, connect(f"ws://{here.host}/run/x/live", origin=origin):
        pass
    assert caught.value.response.status_code == 403


def test_a_form_needs_this_browsers_token(server):
    here = server(pairing_code="1234-5678")
    with here.browser() as browser, here.browser() as other:
        mine, theirs = token_of(browser.get("/pair")), token_of(other.get("/pair"))
        assert mine != theirs
        assert browser.post("/pair", data={"code": "1"}).status_code == 403
        stolen = browser.post("/pair", data={"code": "1234-5678", "form_token": theirs})
        assert stolen.status_code == 403
        assert "not of this browser" in stolen.text


def test_the_cookie_is_not_for_scripts_nor_other_sites_and_cannot_be_made_up(server):
    here = server(pairing_code="1234-5678")
    with here.browser() as browser:
        cookie = browser.get("/pair").headers["set-cookie"]
        assert "HttpOnly" in cookie
        assert "SameSite=Strict" in cookie
        value = cookie.split(";")[0].partition("=")[2]
        forged = value.replace(".here.", ".paired.")
        assert forged != value
        browser.cookies.clear()
        answer = browser.get("/", headers={"cookie": f"wattproof={forged}"})
    assert (answer.status_code, answer.headers["location"]) == (303, "/pair")


def test_on_the_network_a_browser_is_let_in_once_it_has_said_the_code(server):
    here = server(pairing_code="1234-5678")
    with here.browser() as browser:
        for path in ("/", "/run", "/api/openapi.json", "/jobs/1"):
            assert browser.get(path).status_code in {303, 401}
        assert browser.get("/static/workbench.css").status_code == 200
        token = token_of(browser.get("/pair"))
        wrong = browser.post("/pair", data={"code": "1234-5679", "form_token": token})
        assert (wrong.status_code, "not the code" in wrong.text) == (403, True)
        right = browser.post("/pair", data={"code": "1234 5678", "form_token": token})
        assert right.status_code == 303
        assert browser.get("/run").status_code == 200
    with here.browser() as other:  # another browser is not let in with it
        assert other.get("/run").status_code == 303


def test_guessing_is_slowed_down_whoever_guesses(server):
    here = server(pairing_code="1234-5678")
    statuses = []
    for guess in range(7):
        with here.browser() as browser:
            token = token_of(browser.get("/pair"))
            statuses.append(browser.post("/pair", data={"code": str(guess), "form_token": token}).status_code)
    assert statuses == [403] * 5 + [429] * 2
    with here.browser() as browser:  # also the right code waits
        token = token_of(browser.get("/pair"))
        assert browser.post("/pair", data={"code": "12345678", "form_token": token}).status_code == 429


def test_an_unpaired_socket_is_closed(server):
    here = server(pairing_code="1234-5678")
    with pytest.raises(InvalidStatus) as caught, connect(f"ws://{here.host}/run/x/live", origin=here.address):
        pass
    assert caught.value.response.status_code == 403


def test_too_much_is_refused_whether_its_length_is_stated_or_not(server):
    here = server(most_body_bytes=10_000)
    with here.browser() as browser:
        assert browser.post("/jobs/1/cancel", content=b"x" * 20_000).status_code == 413

        def unstated():
            for _ in range(20):
                yield b"x" * 1000

        kind = "application/x-www-form-urlencoded"
        answer = browser.post("/jobs/1/cancel", content=unstated(), headers={"content-type": kind})
    assert answer.status_code == 413
    assert "too much at once" in answer.text


def test_every_page_carries_a_policy_that_lets_nothing_in_from_elsewhere(browser):
    for path in ("/run", "/nowhere", "/static/workbench.js"):
        policy = browser.get(path).headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "script-src 'self';" in policy
        assert not re.search(r"https?:|\*|unsafe-eval|script-src[^;]*unsafe", policy)
        assert "frame-ancestors 'none'" in policy


def test_a_restart_makes_no_page_stale(server, tmp_path):
    first = server(tmp_path / "a", pairing_code="1234-5678")
    with first.browser() as browser:
        token, cookie = token_of(browser.get("/pair")), browser.cookies["wattproof"]
    first.close()
    second = server(tmp_path / "a", pairing_code="1234-5678")
    with second.browser(cookie=f"wattproof={cookie}") as browser:
        assert browser.post("/pair", data={"code": "12345678", "form_token": token}).status_code == 303


def test_what_is_not_there_and_what_may_not_be_asked_are_told_kindly(browser):
    for path in ("/nowhere", "/static/../settings.py", "/static/%2e%2e/settings.py", "/run/..%2f..%2fetc/live"):
        answer = browser.get(path)
        assert answer.status_code == 404
        assert "Traceback" not in answer.text
    assert browser.post("/run", data={}).status_code in {403, 405}
