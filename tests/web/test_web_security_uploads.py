"""Files that come over the network: bounded as they come, and never a path, whatever they are called."""

import os
import re
import socket
import time
from contextlib import suppress

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from wattproof import tasks
from wattproof.web import tokens
from wattproof.web.api.uploads import LONGEST_NAME, safe_name

NAMES = (
    "../../../../tmp/evil.csv", "/etc/evil.csv", "..\\..\\evil.csv", "C:\\windows\\evil.csv", "evil\x00.csv", "..", ".",
    "",
    "nul.csv", "COM1", "con.tar.csv", "x" * 10_000 + ".csv", "\u202evsc.exe", ".bashrc", "a/../../b.csv", "evil.csv ",
    "evil.csv...", "~root/evil.csv", "$(id).csv", "evil;rm.csv", "line\r\nx-evil: yes.csv", "\ud7ff\U0001f4a3.csv",
)  # fmt: skip
DEVICES = re.compile(r"(?i)(con|prn|aux|nul|com\d|lpt\d)(\..*)?")
READ = {"unknown-format", "needs-answer", "not-a-waveform"}
"""What a reader says of a table of typed readings: it is no recording."""

ROWS = b"load,load_voltage_v,supply_voltage_v,thd_percent\n4,33.8,14.12,1\n"


@pytest.mark.parametrize("said", NAMES, ids=lambda name: ascii(name[:20]))
def test_a_name_is_no_path(said):
    name = safe_name(said)
    assert name
    assert os.path.basename(name) == name  # noqa: PTH119
    assert not name.startswith(".")
    assert not DEVICES.fullmatch(name)
    assert len(name.encode()) <= LONGEST_NAME + 1


def test_what_is_kept_stays_in_the_archive_whatever_it_is_called(server, tmp_path):
    (tmp_path / "amplifier.toml").write_text('maker = "Heron & Sons"\nmodel = "Fieldfare 2"\n')
    (tmp_path / "bench.toml").write_text('name = "boathouse"\n[[channels]]\ninput = 1\nrole = "load_voltage"\n')
    archive = tmp_path / "archive"
    session = tasks.session_new(tmp_path / "amplifier.toml", tmp_path / "bench.toml", archive=archive).session
    before = {path for path in tmp_path.rglob("*") if archive not in path.parents}
    kept = 0
    with server(archive).script() as script:
        for number, said in enumerate(NAMES):
            content = ROWS + b"4,33.8,14.12,1\n" * number  # what is there already is not kept again
            answer = script.post("/api/session/add", params={"session": session}, **multipart(said, content))
            assert answer.status_code in {200, 400, 422}, answer.text
            assert "x-evil" not in answer.headers
            kept += answer.status_code == 200
    assert kept > len(NAMES) / 2
    assert {path for path in tmp_path.rglob("*") if archive not in path.parents} == before
    for path in archive.rglob("*"):
        assert path.resolve().is_relative_to(archive.resolve())
        assert not re.search(r'[\\<>:"|?*\x00-\x1f\u202e]', path.name), path


def multipart(name, content):
    """Give a body with a file's name as it is: a kind client would spell it out."""
    said = name.replace('"', "%22").encode("utf-8", "surrogatepass")
    body = b'--edge\r\ncontent-disposition: form-data; name="files"; filename="' + said
    body += b'"\r\ncontent-type: text/csv\r\n\r\n' + content + b"\r\n--edge--\r\n"
    return {"content": body, "headers": {"content-type": "multipart/form-data; boundary=edge"}}


@given(said=st.text(max_size=300))
@settings(max_examples=50, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_whatever_a_file_is_called_its_name_is_one_that_every_system_takes(said):
    name = safe_name(said)
    assert 0 < len(name.encode()) <= LONGEST_NAME + 1
    assert not re.search(r'[/\\<>:"|?*\x00-\x1f]', name)
    assert name == name.strip(" .")
    assert not DEVICES.fullmatch(name)
    assert safe_name(name) == name


@pytest.fixture(scope="module")
def place(module_server, tmp_path_factory):
    """A workbench over an archive with nothing in it."""
    return module_server(tmp_path_factory.mktemp("empty") / "archive")


def paired_post(here, path, body, **headers):
    """Begin a request with the token and without a length, and give the socket."""
    said = {
        "host": here.host, tokens.HEADER: tokens.script_token(here.settings.secret), "connection": "close",
        "transfer-encoding": "chunked", "content-type": "multipart/form-data; boundary=edge", **headers,
    }  # fmt: skip
    wire = socket.create_connection(("127.0.0.1", here.port), timeout=20)
    lines = [f"POST {path} HTTP/1.1", *(f"{name}: {value}" for name, value in said.items() if value), "", ""]
    wire.sendall("\r\n".join(lines).encode() + body)
    return wire


def chunk(data):
    return f"{len(data):x}\r\n".encode() + data + b"\r\n"


def answer_of(wire):
    got = b""
    with wire:
        while part := wire.recv(65536):
            got += part
    return int(got.split(b" ", 2)[1])


def test_a_body_without_a_length_is_cut_off_as_it_comes(server):
    here = server(most_body_bytes=200_000)
    begun = b'--edge\r\ncontent-disposition: form-data; name="files"; filename="a.csv"\r\n\r\n'
    wire = paired_post(here, "/api/read", chunk(begun))
    sent = 0
    try:
        for _ in range(1000):  # a hundred megabytes, if nobody stops it
            wire.sendall(chunk(b"x" * 100_000))
            sent += 100_000
            time.sleep(0.002)
    except OSError:
        pass
    assert sent < 50_000_000
    with suppress(OSError):  # it may hang up on us while we still speak
        assert answer_of(wire) == 413


def test_a_stated_length_that_is_too_much_is_refused_before_it_comes(server):
    here = server(most_body_bytes=200_000)
    wire = paired_post(here, "/api/read", b"", **{"transfer-encoding": "", "content-length": "200001"})
    assert answer_of(wire) == 413


@pytest.mark.parametrize("length", ["-1", "1e3", "0x10", "\u0661", "9" * 30])
def test_a_length_that_is_none_is_refused(length, place):
    wire = paired_post(place, "/api/read", b"", **{"transfer-encoding": "", "content-length": length})
    assert answer_of(wire) in {400, 413}


@pytest.mark.parametrize("kind", ["fields", "files"])
def test_a_hundred_thousand_parts_are_refused_soon(kind, server):
    here = server()
    more = '; filename="a.csv"' if kind == "files" else ""
    part = f'--edge\r\ncontent-disposition: form-data; name="files"{more}\r\n\r\nx\r\n'.encode()
    body = part * 100_000 + b"--edge--\r\n"
    said = {"content": body, "headers": {"content-type": "multipart/form-data; boundary=edge"}}
    begun = time.monotonic()
    with here.script() as script, here.browser() as browser:
        answer = script.post("/api/read", **said)
        assert (answer.status_code, answer.json()["error"]["code"]) == (400, "page")
        assert browser.post("/run/begin", **said).status_code == 400
    assert time.monotonic() - begun < 20


def test_more_files_than_are_taken_are_refused(server):
    with server(most_files=3).script() as script:
        files = [("files", (f"{n}.csv", ROWS)) for n in range(4)]
        refused, taken = script.post("/api/read", files=files), script.post("/api/read", files=files[:3])
    assert "Too many files" in refused.json()["error"]["message"]
    assert taken.json()["error"]["code"] in READ  # they came in


def test_what_is_held_in_memory_may_be_far_less_than_what_goes_to_the_disk(server):
    here = server(most_text_bytes=10_000)
    with here.browser() as browser:
        assert browser.post("/run/begin", data={"note": "x" * 20_000}).status_code == 413
    with here.script() as script:
        big = ROWS + b"4,33.8,14.12,1\n" * 2000
        assert script.post("/api/read", files={"files": ("a.csv", big)}).json()["error"]["code"] in READ


def test_a_stranger_on_the_network_may_send_hardly_anything(server):
    here = server(pairing_code="1234-5678")
    with here.browser() as browser:
        assert browser.post("/pair", files={"code": ("x", b"x" * 100_000)}).status_code == 413
        assert browser.post("/api/read", files={"files": ("x", b"x" * 100_000)}).status_code == 413


@pytest.mark.parametrize("path", ["/api/read", "/run/begin"])
def test_a_body_that_never_comes_is_waited_for_only_so_long(path, server):
    here = server(longest_silence_s=0.4)
    begun = time.monotonic()
    wire = paired_post(here, path, chunk(b'--edge\r\ncontent-disposition: form-data; name="files"\r\n\r\nx'))
    assert answer_of(wire) == 408
    assert 0.3 < time.monotonic() - begun < 10


@pytest.mark.parametrize(
    "body",
    [b"", b"--edge", b"--edge--", b"garbage", b"--edge\r\n\r\n\r\n--edge--",
     b"--edge\r\ncontent-disposition: x\r\n\r\n",
     b'--edge\r\ncontent-disposition: form-data; name="files"\r\n' + b"x: y\r\n" * 5000 + b"\r\n\r\n--edge--"],
    ids=lambda body: ascii(body[:16]),
)  # fmt: skip
@pytest.mark.parametrize("kind", ["multipart/form-data; boundary=edge", "multipart/form-data", "text/plain", "\u00ff"])
def test_a_broken_form_is_no_fault_of_ours(body, kind, place):
    with place.script() as script:
        answer = script.post("/api/read", content=body, headers={"content-type": kind.encode("latin-1")})
        assert 400 <= answer.status_code < 500, answer.text
        assert answer.json()["error"]["code"] == "page"
