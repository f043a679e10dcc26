"""What a stranger may try: on every route there is, also those that are added later."""

import re
import socket
import time
from pathlib import Path

import httpx
import pytest
from fastapi.routing import APIRoute
from websockets.exceptions import ConnectionClosed, InvalidStatus
from websockets.sync.client import connect

import wattproof
from wattproof import tasks
from wattproof.web import WebSettings, create_app, tokens
from wattproof.web.pages import ROUTERS
from wattproof.web.watching import Page, WatchedRun

SCRIPT = "<script>alert(1)</script>"
QUOTED = "\"'><img src=x onerror=alert(1)>"
OWN_STYLES = {"/sheet/{name}/print"}
"""Pages of one file, made to be taken away: their styles stand in them; a script still may not."""

PAGES = sorted(
    (method, route.path)
    for router in ROUTERS
    for route in router.routes
    if isinstance(route, APIRoute)
    for method in route.methods
)
DOCUMENT = create_app(WebSettings(archive=Path("nowhere"), secret=b"x", hosts=frozenset())).openapi()
API = sorted((method.upper(), path) for path, methods in DOCUMENT["paths"].items() for method in methods)
READ = [path for method, path in (*PAGES, *API) if method == "GET"]
CHANGED = [path for method, path in (*PAGES, *API) if method == "POST"]

NASTY = (
    "..%2f..%2f..%2fetc%2fpasswd", "%2fetc%2fpasswd", "..%5c..%5csecret", "%00", "x%0d%0aset-cookie:%20a=b", "%ff%fe",
    ".running", "..%2f.running%2ftoken", "con", "%e2%80%aegnp.exe", "x" * 3000, "%3Cscript%3Ealert(1)%3C%2Fscript%3E",
    "99999999999999999999999", "-1",
)  # fmt: skip


@pytest.fixture(scope="module")
def evil(tmp_path_factory):
    """An archive in which all that a person names is an attack."""
    tmp_path = tmp_path_factory.mktemp("evil")
    files = {
        "amplifier.toml": f"maker = '{SCRIPT}'\nmodel = '''{QUOTED}'''\nnotes = '{SCRIPT}'\n"
        "[[ratings]]\nquantity = 'power'\nvalue = 150\nunit = 'W'\nload_ohm = 4\nthd_percent = 1\n"
        f"source = '{SCRIPT}'\n",
        "bench.toml": f"name = '{SCRIPT}'\n[[channels]]\ninput = 1\nrole = 'load_voltage'\n",
        "readings.csv": "load,load_voltage_v,supply_voltage_v,thd_percent,note\n"
        f"4,33.8,14.12,1,{SCRIPT}\n2,32.2,13.95,1,x\n",
    }
    for name, text in files.items():
        (tmp_path / name).write_text(text)
    archive = tmp_path / "archive"
    amplifier, bench = tmp_path / "amplifier.toml", tmp_path / "bench.toml"
    session = tasks.session_new(amplifier, bench, archive=archive, note=SCRIPT).session
    named = tmp_path / "<script>alert(1)<.csv"
    named.write_bytes((tmp_path / "readings.csv").read_bytes())
    tasks.session_add(session, [named], archive=archive, step=f"{SCRIPT}{QUOTED}")
    tasks.session_figures(session, archive=archive)
    for kind, file in (("amplifier", amplifier), ("bench", bench)):
        tasks.paper_keep(kind, file, name="evil", archive=archive)
    return archive, session


@pytest.fixture(scope="module")
def place(module_server, evil):
    """A workbench over it."""
    return module_server(evil[0])


def filled(path, **values):
    """Put words into the gaps of a route's path."""
    return re.sub(r"\{(\w+)(?::\w+)?\}", lambda gap: str(values.get(gap[1], values.get("other", "1"))), path)


def raw(server, data, *, wait_s=10):
    """Send bytes as they are and give what comes back."""
    with socket.create_connection(("127.0.0.1", server.port), timeout=wait_s) as wire:
        wire.sendall(data)
        got = b""
        try:
            while part := wire.recv(65536):
                got += part
        except TimeoutError:
            pass
    return got


def status_of(answer):
    return int(answer.split(b" ", 2)[1]) if answer else 0


# --- who may ask ---


def test_a_script_is_known_by_the_value_of_its_token(server, tmp_path):
    here, other = server(), server(tmp_path / "another")
    with httpx.Client(base_url=here.address) as script:
        for wrong in ("", "x", "\xff".encode("latin-1"), tokens.script_token(other.settings.secret)):
            answer = script.post("/api/archive/index", headers={tokens.HEADER: wrong})
            assert (answer.status_code, answer.json()["error"]["code"]) == (403, "page")
    with here.script() as script:
        assert script.post("/api/archive/index").status_code == 200
        assert "set-cookie" not in script.get("/api/session/list").headers
        foreign = script.post("/api/archive/index", headers={"origin": "http://evil.example"})
        assert foreign.status_code == 403  # a token makes no other site's page ours


def test_a_socket_of_a_script_needs_the_value_too(place):
    here = place
    for said in ({}, {tokens.HEADER: "x"}):
        with pytest.raises(InvalidStatus) as caught, connect(f"ws://{here.host}/run/x/live", additional_headers=said):
            pass
        assert caught.value.response.status_code == 403
    said = {tokens.HEADER: tokens.script_token(here.settings.secret)}
    with connect(f"ws://{here.host}/run/x/live", additional_headers=said) as wire:
        assert "window-closed" in wire.recv(timeout=10)


def test_a_socket_under_another_name_is_turned_away(place):
    here = place
    said = {"host": f"evil.example:{here.port}", tokens.HEADER: tokens.script_token(here.settings.secret)}
    request = "\r\n".join(
        ["GET /run/x/live HTTP/1.1", *(f"{name}: {value}" for name, value in said.items()),
         f"origin: http://evil.example:{here.port}", "upgrade: websocket", "connection: upgrade",
         "sec-websocket-version: 13", "sec-websocket-key: dGhlIHNhbXBsZSBub25jZQ==", "", ""]
    )  # fmt: skip
    assert status_of(raw(here, request.encode(), wait_s=3)) == 403


def test_on_the_network_a_script_comes_in_with_the_token_alone(server):
    here = server(pairing_code="1234-5678")
    with httpx.Client(base_url=here.address) as stranger:
        assert stranger.get("/api/session/list").status_code == 401
        assert stranger.post("/api/archive/index").status_code == 403
    with here.script() as script:
        assert script.get("/api/session/list").status_code == 200
        assert script.post("/api/archive/index").status_code == 200


def test_a_cookie_of_another_archive_is_none_of_ours(server, tmp_path):
    here, other = server(pairing_code="1234-5678"), server(tmp_path / "another", pairing_code="1234-5678")
    paired = tokens.signed(other.settings.secret, tokens.new_browser(), paired=True)
    with here.browser(cookie=f"{tokens.COOKIE}={paired}") as browser:
        answer = browser.get("/run")
    assert (answer.status_code, answer.headers["location"]) == (303, "/pair")
    assert answer.headers["set-cookie"].startswith(f"{tokens.COOKIE}=")


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_another_sites_page_may_not_even_read_the_api(place, site):
    with place.browser() as browser:
        assert browser.get("/api/session/list", headers={"sec-fetch-site": site}).status_code == 403
        for ours in ("none", "same-origin"):
            assert browser.get("/api/session/list", headers={"sec-fetch-site": ours}).status_code == 200


def test_two_names_or_two_origins_are_none(place):
    here = place
    for line in (f"host: evil.example\r\nhost: {here.host}", f"host: {here.host}\r\nhost: evil.example"):
        answer = raw(here, f"GET /run HTTP/1.1\r\n{line}\r\nconnection: close\r\n\r\n".encode())
        assert status_of(answer) in {400, 421}
    lines = f"host: {here.host}\r\norigin: {here.address}\r\norigin: http://evil.example"
    answer = raw(
        here, f"POST /run/begin HTTP/1.1\r\n{lines}\r\ncontent-length: 0\r\nconnection: close\r\n\r\n".encode()
    )
    assert status_of(answer) == 403


# --- every form ---


@pytest.mark.parametrize("path", CHANGED)
def test_a_form_without_its_token_changes_nothing(path, place, evil):
    before = sorted(evil[0].rglob("*"))
    with place.browser() as browser:
        browser.get("/pair")
        for body in ({"data": {"x": "1"}}, {"files": {"file": ("x.wav", b"x")}}, {"data": {"form_token": "0" * 64}}):
            answer = browser.post(filled(path), **body)
            assert answer.status_code == 403, (path, body, answer.status_code)
    assert sorted(evil[0].rglob("*")) == before


def test_no_route_that_changes_is_reached_by_another_word():
    assert {method for method, _ in (*PAGES, *API)} == {"GET", "POST"}


# --- every answer ---


def test_every_answer_carries_its_policy_and_none_is_kept_by_a_browser(place, evil):
    _, session = evil
    with place.browser() as browser:
        for path in (*READ, "/nowhere", "/api/nowhere", "/static/nowhere", "/static/"):
            answer = browser.get(filled(path, session=session, name="evil", kind="amplifier"))
            policy = dict(
                (part.strip().partition(" ")[::2]) for part in answer.headers["content-security-policy"].split(";")
            )
            assert answer.status_code < 500, path
            assert policy["default-src"] == "'none'", path
            assert policy.get("script-src", "'none'") in {"'self'", "'none'"}, path
            assert policy["frame-ancestors"] in {"'none'", "'self'"}, path
            assert policy["base-uri"] == "'none'", path
            assert path in OWN_STYLES or policy["style-src"] == "'self'", path
            assert not re.search(r"https?:|\*|unsafe-eval", " ".join(policy.values())), path
            assert answer.headers["x-content-type-options"] == "nosniff"
            assert path.startswith("/static/") or answer.headers["cache-control"] == "no-store", path
        turned_away = browser.get("/", headers={"host": "evil.example"})
        assert "default-src 'none'" in turned_away.headers["content-security-policy"]


def test_what_a_person_names_is_never_a_script_of_ours(place, evil):
    _, session = evil
    with place.browser() as browser:
        seen = 0
        for path in READ:
            answer = browser.get(
                filled(path, session=session, name="evil", kind="amplifier"),
                params={"session": session, "sessions": [session, session], "amplifier": "evil", "bench": "evil",
                        "kind": "amplifier", "name": "evil", "q": SCRIPT, "search": QUOTED},
            )  # fmt: skip
            kind = answer.headers.get("content-type", "")
            if kind.startswith("text/html"):
                seen += SCRIPT.replace("<", "&lt;").replace(">", "&gt;") in answer.text
                assert SCRIPT not in answer.text, path
                assert "<img src=x" not in answer.text, path
                assert not re.search(r"<script(?![^>]*\b(?:src=\"/static/|type=\"application/))", answer.text), path
            else:
                assert "html" not in kind
        assert seen > 0  # it is shown somewhere, as words


@pytest.mark.parametrize("nasty", NASTY, ids=lambda one: one[:24])
def test_a_part_of_an_address_is_no_path_and_no_header(nasty, place):
    secret = tokens.script_token(place.settings.secret)
    with place.browser() as browser:
        for path in READ:
            if "{" not in path:
                continue
            answer = browser.get(filled(path, session=nasty, name=nasty, kind=nasty, other=nasty))
            assert answer.status_code < 500, (path, nasty)
            assert "a" not in answer.cookies
            assert "root:" not in answer.text
            assert secret not in answer.text
            assert SCRIPT not in answer.text or "json" in answer.headers.get("content-type", "")


def test_a_query_is_no_path(place):
    with place.browser() as browser:
        for method, path in API:
            if method != "GET":
                continue
            for nasty in ("../.running", "/etc", "..", "*", "a/../../b", "\u202e"):
                said = {"session": nasty, "name": nasty, "kind": "amplifier", "sessions": [nasty, nasty]}
                answer = browser.get(filled(path), params=said)
                assert answer.status_code < 500, (path, nasty)
                assert tokens.script_token(place.settings.secret) not in answer.text


def test_no_folder_is_listed_and_nothing_beside_the_static_files_is_given(place):
    here = place
    with here.browser() as browser:
        assert browser.get("/static/workbench.css").status_code == 200
    for path in ("/static/", "/static", "/static/..", "/static/../templates/base.html.j2", "/static//etc/passwd",
                 "/static/%2e%2e/app.py", "/static/..%5capp.py", "/static/%00", "/static/" + "x" * 5000):  # fmt: skip
        answer = raw(here, f"GET {path} HTTP/1.1\r\nhost: {here.host}\r\nconnection: close\r\n\r\n".encode())
        assert status_of(answer) in {307, 400, 404}, path
        assert not re.search(rb"import |root:|jinja|workbench\.js\b(?!\?v)", answer), path


@pytest.mark.parametrize("method", ["HEAD", "OPTIONS", "TRACE", "PUT", "PATCH", "DELETE", "CONNECT", "BREW"])
def test_other_words_do_nothing(method, place):
    here = place
    for path in ("/run", "/api/session/list", "/static/workbench.css", "/nowhere"):
        lines = (
            f"{method} {path} HTTP/1.1\r\nhost: {here.host}\r\ncookie: wattproof=echo-me\r\nconnection: close\r\n\r\n"
        )
        answer = raw(here, lines.encode())
        assert status_of(answer) in ({200, 404, 405} if method == "HEAD" else {400, 403, 404, 405}), answer[:200]
        assert b"echo-me" not in answer


def test_a_target_with_a_name_in_it_does_not_take_the_place_of_the_name(place):
    here = place
    evil = f"GET http://{here.host}/run HTTP/1.1\r\nhost: evil.example\r\nconnection: close\r\n\r\n"
    assert status_of(raw(here, evil.encode())) in {400, 421}
    ours = f"GET http://evil.example/run HTTP/1.1\r\nhost: {here.host}\r\nconnection: close\r\n\r\n"
    answer = raw(here, ours.encode())
    assert status_of(answer) in {200, 400, 404}
    assert b"evil.example" not in answer.partition(b"\r\n\r\n")[0]


# --- others' work ---


def test_work_of_another_browser_is_not_there(place, evil):
    here, (_, session) = place, evil
    with here.browser() as one, here.browser() as other:
        one.get("/run"), other.get("/run")
        name, _ = tokens.read_cookie(here.settings.secret, one.cookies[tokens.COOKIE])
        said = {tokens.HEADER: tokens.form_token(here.settings.secret, name)}
        job = one.post("/api/pack", params={"session": session}, headers=said)
        assert job.status_code == 202, job.text
        address = job.headers["location"]
        until = time.monotonic() + 60
        while one.get(address).json()["state"] != "done" and time.monotonic() < until:
            time.sleep(0.05)
        assert one.get(f"{address}/files/1").status_code == 200
        number = job.json()["number"]
        for path in (address, f"{address}/files/1", f"/jobs/{number}", f"/jobs/{number}/state"):
            assert other.get(path).status_code == 404
        assert other.get("/api/jobs").json() == {"jobs": []}
        assert other.post(f"{address}/cancel", headers=said).status_code == 403  # nor with the other's token


# --- what is told ---


def test_a_fault_of_ours_tells_nothing_of_our_insides(server, monkeypatch):
    def broken(*_args, **_more):
        raise RuntimeError("secret words at /srv/somebody/wattproof/archive.py")

    monkeypatch.setattr("wattproof.tasks.sessions._archive", broken)
    monkeypatch.setattr("wattproof.tasks.Workbench.running", broken)
    with server().browser() as browser:
        for path in ("/api/session/list", "/run"):
            answer = browser.get(path)
            assert answer.status_code == 500
            assert not re.search(r"Traceback|secret words|/srv/|\.py|site-packages", answer.text)
            assert "default-src 'none'" in answer.headers["content-security-policy"]


def test_no_fault_of_a_sender_tells_where_we_are(place):
    home = str(Path(wattproof.__file__).parent)
    with place.browser() as browser:
        for path in (
            "/nowhere",
            "/jobs/x",
            "/run/nobody",
            "/api/jobs/x",
            "/api/judge",
            "/sheet/nobody",
            "/static/none",
        ):
            answer = browser.get(path)
            assert 400 <= answer.status_code < 500
            assert home not in answer.text
            assert "Traceback" not in answer.text


def test_one_page_holds_the_controls_and_every_page_may_stop():
    run = WatchedRun("x", port=1, secret="", on_end=lambda _run: None)
    sent, one, other = [], Page(), Page()
    run._send = sent.append
    run.pages, run.holder = [one, other], one
    for said in ({"do": "answer", "id": 1, "text": "yes"}, {"do": "leave", "seconds": None}, {"do": "repeat"}, {}):
        run.hear(other, said)
    assert sent == []
    run.hear(other, {"do": "stop"})
    run.hear(one, {"do": "answer", "id": 1, "text": "x" * 5000})
    assert [message["do"] for message in sent] == ["stop", "answer"]
    assert len(sent[1]["text"]) == 2000
    run.leave(one)
    run.hear(other, {"do": "answer", "id": 2, "text": "yes"})  # they are nobody's until somebody takes them
    assert len(sent) == 2


def test_the_words_of_a_socket_that_are_none_end_nothing(place):
    here = place
    with connect(f"ws://{here.host}/run/x/live", origin=here.address) as wire:
        wire.recv(timeout=10)
        try:
            for said in ("x" * 100_000, "[]", "{", '{"do": 1}', b"\xff\xfe"):
                wire.send(said)
        except ConnectionClosed:
            pass
    with here.browser() as browser:
        assert browser.get("/run").status_code == 200
