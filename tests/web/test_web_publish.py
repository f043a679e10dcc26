"""What is made of a session on its page: a job each, a result to look at and download, nothing in the archive."""

import io
import re
import time
import zipfile

import pytest

from wattproof import tasks
from wattproof.archive import Archive
from wattproof.sim.collection import FOLDER

READINGS = "load,load_voltage_v,load_current_a,thd_percent\n4 ohm,33.1,8.2,1.0\n"
"""Typed readings: the smallest session that has figures."""


def token_of(page):
    return re.search(r'name="form_token" value="([0-9a-f]+)"', page.text)[1]


def arrived(browser, answer):
    assert answer.status_code == 303, answer.text
    where = answer.headers["location"]
    until = time.monotonic() + 60
    while where.startswith("/jobs/"):
        job = browser.get(f"{where}/state").json()
        assert job["state"] in {"waiting", "working", "done"}, browser.get(where).text
        assert time.monotonic() < until
        where = job["address"] or where
        time.sleep(0.05)
    return browser.get(where)


def failed(browser, answer):
    where = answer.headers["location"]
    until = time.monotonic() + 60
    while browser.get(f"{where}/state").json()["state"] in {"waiting", "working"} and time.monotonic() < until:
        time.sleep(0.05)
    return browser.get(where).text


@pytest.fixture
def session(tmp_path):
    """A session of one typed reading, in an archive."""
    given, archive = FOLDER / "bittern-1", tmp_path / "archive"
    readings = tmp_path / "readings.csv"
    readings.write_text(READINGS, encoding="utf-8")
    made = tasks.session_new(given / "amplifier.toml", given / "bench.toml", archive=archive)
    tasks.session_add(made.session, [readings], archive=archive)
    tasks.session_figures(made.session, archive=archive)
    return archive, made.session


def files_in(archive):
    return {path.relative_to(archive).as_posix() for path in archive.rglob("*") if path.is_file()}


def test_what_is_made_can_be_looked_at_and_downloaded_and_lies_outside_the_archive(server, session):
    archive, name = session
    here = server(archive)
    with here.browser() as browser, here.browser() as other:
        page = browser.get("/publish")
        token, home = token_of(page), f"/publish/{name}"
        assert name in page.text
        report = arrived(browser, browser.post(f"{home}/report", data={"form_token": token, "format": ["html", "md"]}))
        places = re.findall(r'href="(/publish/made/[^"]+/\d+)"', report.text)
        assert len(places) == 2
        taken = [browser.get(place) for place in places]
        assert [one.headers["content-disposition"] for one in taken] == [
            f'attachment; filename="{name}.{suffix}"' for suffix in ("html", "md")
        ]
        (framed,) = re.findall(r'<iframe[^>]* src="([^"]+)"', report.text)
        assert 'sandbox="allow-scripts"' in report.text
        shown = browser.get(framed)
        assert shown.text == taken[0].text
        policy = shown.headers["content-security-policy"]
        assert policy.startswith("sandbox allow-scripts; default-src 'none';")
        assert "frame-ancestors 'self'" in policy
        assert "allow-same-origin" not in policy
        assert "content-disposition" not in shown.headers
        assert other.get(places[0]).status_code == 404  # of another browser
        assert browser.get(f"{places[0][:-1]}7").status_code == 404

        pack = arrived(browser, browser.post(f"{home}/pack", data={"form_token": token}))
        packed = browser.get(re.search(r'href="(/publish/made/[^"]+/0)"', pack.text)[1]).content
        assert zipfile.ZipFile(io.BytesIO(packed)).testzip() is None
        answer = browser.post(
            "/publish/verify", data={"form_token": token}, files={"pack": ("../<b>.zip", packed, "application/zip")}
        )
        checked = arrived(browser, answer)
        assert "Reproduced: every figure" in checked.text
        assert "&lt;b&gt;.zip" in checked.text
        assert checked.text.count("<tr>") > 3
        before, after = len(packed) // 2, len(packed) // 2 + 40
        broken = packed[:before] + bytes(40) + packed[after:]
        told = failed(
            browser, browser.post("/publish/verify", data={"form_token": token}, files={"pack": ("x.zip", broken)})
        )
        assert 'role="alert"' in told or "Not reproduced" in told

        data = arrived(browser, browser.post(f"{home}/data", data={"form_token": token}))
        table = browser.get(re.search(r'href="(/publish/made/[^"]+/0)"', data.text)[1]).content
        assert any(one.endswith("figures.csv") for one in zipfile.ZipFile(io.BytesIO(table)).namelist())

        wrong = failed(
            browser,
            browser.post(
                f"{home}/pictures",
                data={"form_token": token, "name": "no-such", "shape": "wide", "paper": "light", "format": "png"},
            ),
        )
        assert "There is no picture &#34;no-such&#34;" in wrong

        dropped = browser.post(
            re.search(r'action="(/publish/made/[^"]+/drop)"', report.text)[1], data={"form_token": token}
        )
        assert dropped.headers["location"] == home
        assert browser.get(places[0]).status_code == 404
        root = here.app.state.desk.shelf.folder().parent
        assert not root.is_relative_to(archive)
        assert not [path for path in files_in(archive) if path.endswith((".html", ".md", ".zip"))]
    here.close()
    assert not root.exists()


def test_a_pack_is_checked_against_a_fingerprint_and_never_a_file_of_this_machine(browser, tmp_path):
    public = tmp_path / "mine.pub"
    public.write_text("-----BEGIN PUBLIC KEY-----\n")
    said = {"form_token": token_of(browser.get("/publish")), "key": str(public)}
    answer = browser.post("/publish/verify", data=said, files={"pack": ("x.zip", b"PK", "application/zip")})
    assert answer.status_code == 422
    assert "no fingerprint" in answer.text
    assert f'value="{public}"' in answer.text  # what was typed is there still
    said["key"] = "0a" * 32
    assert browser.post("/publish/verify", data=said).status_code == 422  # no pack
    told = failed(browser, browser.post("/publish/verify", data=said, files={"pack": ("x.zip", b"PK")}))
    assert "fingerprint" not in told


def test_words_and_photographs_are_kept_as_typed_and_nothing_is_lost_on_an_error(server, session):
    from PIL import Image

    archive, name = session
    store = Archive(archive)
    photo = io.BytesIO()
    exif = Image.Exif()
    exif[0x010F] = "a camera that nobody makes"
    Image.new("RGB", (64, 48), "navy").save(photo, "JPEG", exif=exif)
    said = {"summary": 'Small, "quiet" & cool.', "pros": "runs cool\n\nterminals take 21 mm²", "cons": "fan is loud"}
    with server(archive).browser() as browser:
        token = token_of(browser.get("/publish"))
        home = f"/publish/{name}/words"
        refused = browser.post(
            home, data={"form_token": token, **said}, files={"photos": ("board.jpg", b"no photograph", "image/jpeg")}
        )
        assert refused.status_code == 422
        assert "fan is loud" in refused.text
        assert "Small, &#34;quiet&#34; &amp; cool." in refused.text
        assert store.remarks(store.open_session(name)) is None
        files = [("photos", (one, photo.getvalue(), "image/jpeg")) for one in ("../lid.jpg", "C:\\x\\lid.jpg")]
        kept = browser.post(home, data={"form_token": token, **said, "new_caption": "the lid"}, files=files)
        assert kept.status_code == 303
        shown = tasks.Workbench(archive).words.show(name)
        assert (shown.summary, shown.pros, shown.cons) == (
            said["summary"],
            ("runs cool", "terminals take 21 mm²"),
            ("fan is loud",),
        )
        assert [one.file for one in shown.photos] == ["lid.jpg", "2-lid.jpg"]
        picture = browser.get(f"/publish/{name}/photo/lid.jpg").content
        assert picture[:2] == b"\xff\xd8"
        assert b"a camera that nobody makes" not in picture
        again = {
            "form_token": token,
            **said,
            "cons": "",
            "photo": ["lid.jpg", "2-lid.jpg"],
            "caption": ["a", "b"],
            "leave_out": "lid.jpg",
        }
        assert browser.post(home, data=again).status_code == 303
        shown = tasks.Workbench(archive).words.show(name)
        assert [(one.file, one.caption) for one in shown.photos] == [("2-lid.jpg", "b")]
        assert shown.cons == ()


def test_a_network_workbench_takes_no_key(server, session):
    archive, name = session
    here = server(archive, pairing_code="1234-5678")
    with here.browser() as browser:
        browser.post("/pair", data={"code": "1234-5678", "form_token": token_of(browser.get("/pair"))})
        page = browser.get("/publish")
        made = arrived(
            browser, browser.post(f"/publish/{name}/pack", data={"form_token": token_of(page), "key": "/etc/hostname"})
        )
        assert "not signed" in made.text
