"""Files handed over: shown for what they are, asked about, measured or kept; what names and sizes may not do."""

import re
import time

import pytest

from wattproof import tasks
from wattproof.archive import Archive
from wattproof.sim import bench_day
from wattproof.web.uploads import shown_name

BARE = "".join(f"{0.01 * (n % 7)},{0.02 * (n % 5)}\n" for n in range(400))
READINGS = "load,load_voltage_v,load_current_a,thd_percent\n4 ohm,33.1,8.2,1.0\n"


def token_of(page):
    return re.search(r'name="form_token" value="([0-9a-f]+)"', page.text)[1]


def words_of(page):
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page.text)).replace("\N{NO-BREAK SPACE}", " ")


def arrived(browser, answer):
    assert answer.status_code == 303, words_of(answer)
    where = answer.headers["location"]
    until = time.monotonic() + 60
    while where.startswith("/jobs/"):
        job = browser.get(f"{where}/state").json()
        assert job["state"] in {"waiting", "working", "done"}, browser.get(where).text
        assert time.monotonic() < until
        where = job["address"] or where
        time.sleep(0.05)
    return browser.get(where)


@pytest.fixture(scope="module")
def samples(tmp_path_factory):
    folder = tmp_path_factory.mktemp("import")
    with pytest.MonkeyPatch.context() as patch:  # the steps that are needed, for each takes its time
        patch.setattr(bench_day, "STEPS", [step for step in bench_day.STEPS if step.file in {"02-steady-4-ohm.wav"}])
        bench_day.write_samples(folder)
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}


def handed(browser, files, **said):
    token = token_of(browser.get("/import"))
    given = [("files", (name, data)) for name, data in files.items()]
    page = arrived(browser, browser.post("/import/files", data={"form_token": token, **said}, files=given))
    keys = {name: key for key, name in re.findall(r'<h3 id="n-([0-9a-f]+)">([^<]*)</h3>', page.text)}
    return page, keys, token


def test_files_are_shown_for_what_they_are_and_kept_under_their_own_names(server, samples, tmp_path):
    here = server()
    with here.browser() as browser, here.browser() as other:
        names = ("amplifier.toml", "bench.toml", "02-steady-4-ohm.wav", "readings.csv")
        files = {name: samples[name] for name in names} | {"notes.xyz": b"\x00\x01 no capture"}
        page, keys, token = handed(browser, files)
        tray = page.url.path
        text = words_of(page)
        assert "It is an amplifier file: Saltmarsh &amp; Daughter Bittern 1" in text
        assert "It is a bench file: Boathouse bench" in text
        assert "It is a recording, 5 channels, 3.1 s at 48000 samples a second, read as wav" in text
        assert "It is typed readings" in text
        assert "It cannot be used as it is" in text
        assert other.get(tray).status_code == 404
        papers = {
            word: value for value, word in re.findall(r'value="(file:[0-9a-f]+)"[^>]*>(amplifier|bench)', page.text)
        }
        wave = keys["02-steady-4-ohm.wav"]
        said = {"form_token": token, "do": "keep", **papers, "note": "a <b>first</b> day", "started": "2031-05-14"}
        said |= {f"{wave}-step": "steady 4 ohm", f"{keys['notes.xyz']}-leave_out": "yes"}
        wrong = browser.post(tray, data={**said, f"{wave}-load": "3 ohm bank"})
        assert wrong.status_code == 422
        assert 'value="steady 4 ohm"' in wrong.text
        assert "a &lt;b&gt;first&lt;/b&gt; day" in wrong.text
        assert 'value="2031-05-14"' in wrong.text
        assert tasks.session_list(archive=here.settings.archive).sessions == ()  # nothing was begun
        number = browser.post(tray, data={**said, f"{wave}-rate_hz": "quick"})
        assert number.status_code == 422
        assert "Samples a second: &#34;quick&#34; is no number." in number.text

        kept = arrived(browser, browser.post(tray, data={**said, f"{wave}-load": "4 ohm"}))
        (line,) = tasks.session_list(archive=here.settings.archive).sessions
        assert kept.url.path == f"/findings/{line.session}"
        assert line.session.startswith("2031-05-14-bittern-1")
        store = Archive(here.settings.archive)
        records = store.captures(store.open_session(line.session))
        assert [one.file for one in records] == ["02-steady-4-ohm.wav", "readings.csv"]
        assert [one.folder for one in records] == ["01-steady-4-ohm", "02-readings"]
        for one in records:
            assert store.original_path(store.open_session(line.session), one).read_bytes() == samples[one.file]
        by_task = tasks.session_new(
            *(_written(tmp_path, name, samples) for name in names[:2]), archive=tmp_path / "other"
        )
        tasks.session_add(
            by_task.session, [_written(tmp_path, names[2], samples)], archive=tmp_path / "other",
            wishes=tasks.Wishes(load="4 ohm"),
        )  # fmt: skip
        (wanted,) = tasks.session_figures(by_task.session, archive=tmp_path / "other").captures
        found = tasks.session_figures(line.session, archive=here.settings.archive).captures[0]
        assert found.figures == wanted.figures
        assert browser.get(tray).status_code == 404


def _written(folder, name, samples):
    path = folder / name
    path.write_bytes(samples[name])
    return path


def test_what_a_file_leaves_open_is_asked_as_a_field_and_figures_need_no_session(server):
    here = server()
    with here.browser() as browser:
        page, keys, token = handed(browser, {"bare.csv": BARE.encode(), "readings.csv": READINGS.encode()})
        key = keys["bare.csv"]
        assert "does not say how fast it was sampled" in page.text
        asking = page.text[page.text.index('class="asks"') :]
        assert asking.index(f'name="{key}-rate_hz"') < asking.index("</section>")
        assert "--rate-hz" not in page.text  # a page's fields, not a command's options
        answered = browser.post(page.url.path, data={"form_token": token, "do": "look", f"{key}-rate_hz": "96000"})
        assert "2 channels, 0.004167 s at 96000 samples a second" in words_of(answered)
        said = {"form_token": token, "do": "measure", f"{key}-leave_out": "yes"}
        made = arrived(browser, browser.post(page.url.path, data=said))
        sheet = browser.get(re.findall(r'href="(/publish/made/[^"]+/\d)"', made.text)[1]).text
        assert "load_power" in sheet
        assert tasks.session_list(archive=here.settings.archive).sessions == ()
        none = browser.post(page.url.path, data={**said, "do": "keep"})
        assert none.status_code == 422
        assert "A new session needs an amplifier and a bench." in none.text
        gone = browser.post(page.url.path, data={"form_token": token, "do": "drop"})
        assert gone.headers["location"] == "/import"
        assert browser.get(page.url.path).status_code == 404


def test_names_never_become_paths_and_the_files_are_gone_with_the_workbench(server, tmp_path):
    here = server()
    names = [
        "../../escape.csv",
        "..\\..\\escape.csv",
        "/etc/escape.csv",
        "nul\u202e.csv",
        "a" * 400 + ".csv",
        "<img src=x>.csv",
    ]
    with here.browser() as browser:
        for name in names:
            page, _, _ = handed(browser, {name: READINGS.encode()})
            assert "<img src=x>" not in page.text
        root = here.app.state.desk.shelf.folder().parent
        files = [path for path in root.rglob("*") if path.is_file()]
        assert len(files) == len(names)
        assert all(re.fullmatch(r"[0-9a-f]{12}\.csv", path.name) for path in files)
        assert not list(tmp_path.rglob("*escape*"))
        assert root.stat().st_mode & 0o077 == 0
    here.close()
    assert not root.exists()


@pytest.mark.parametrize(
    ("said", "shown"),
    [("../..", "file"), ("", "file"), ("a/b\\c.wav", "c.wav"), ("x\x00y\n.wav", "xy.wav"), ("é.wav", "é.wav")],
)
def test_a_name_is_shown_as_words_alone(said, shown):
    assert shown_name(said) == shown


def test_too_much_is_refused_and_says_how_much_is_taken(server):
    here = server(most_body_bytes=100_000, most_files=3)
    with here.browser() as browser:
        token = token_of(browser.get("/import"))
        large = browser.post("/import/files", data={"form_token": token}, files={"files": ("a.wav", bytes(200_000))})
        assert large.status_code == 413
        assert "0.1 MB" in large.text
        many = [("files", (f"{n}.csv", READINGS)) for n in range(4)]
        answer = browser.post("/import/files", data={"form_token": token}, files=many)
        assert answer.status_code == 400
        none = browser.post("/import/files", data={"form_token": token})
        assert none.status_code == 400
        assert "No file was chosen." in none.text
        assert browser.post("/import/files", files={"files": ("a.csv", READINGS)}).status_code == 403
