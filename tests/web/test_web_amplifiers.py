"""The list of all that was tested, a first start, comparing, and amplifiers typed without scripts."""

import json
import re
import time
import tomllib
from datetime import UTC, datetime

import pytest

from wattproof.amplifier import Amplifier
from wattproof.archive import Archive, Description
from wattproof.bench import Bench
from wattproof.measure import CaptureResult, CurvePoint, Figure
from wattproof.tasks import Workbench

POWERS = {"Gale Sedge": 120.0, "Bramble Tern": 410.0, "Cirrus Wren": 75.5}


def token_of(page):
    return re.search(r'name="form_token" value="([0-9a-f]+)"', page.text)[1]


def a_session(archive, model, watts, *, day=14, load_ohm=4.0, supply_v=14.4, note=""):
    """Keep a session with one ramp whose figure lies on the common terms as it is."""
    store = Archive(archive)
    session = store.new_session(
        amplifier=Amplifier(maker="Teasel Works", model=model), bench=Bench(name="Net loft bench"),
        amplifier_toml=None, bench_toml=None, started=datetime(2031, 5, day, 10, tzinfo=UTC), note=note,
    )  # fmt: skip
    file = archive.parent / "ramp.wav"
    file.write_bytes(f"{model} {day}".encode())
    store.add_capture(session, file, Description(kind="ramp", load="4 ohm"))
    figure = Figure(
        name="power_at_thd_1", value=watts, u=1.0, unit="W", origin="ramp.wav 1-2 s",
        conditions={"load_ohm": load_ohm, "thd_n": 0.01, **({"supply_v": supply_v} if supply_v else {})},
    )  # fmt: skip
    curve = tuple(
        CurvePoint(t_s=float(n), load_power=2.0**n, thd_n=0.001 if 2.0**n < watts else 0.1) for n in range(10)
    )
    store.write_figures(session, {1: [CaptureResult(file="ramp.wav", kind="ramp", figures=(figure,), curve=curve)]})
    return session.id


@pytest.fixture
def three(server, tmp_path):
    archive = tmp_path / "archive"
    archive.mkdir()
    for day, (model, watts) in enumerate(POWERS.items(), start=14):
        a_session(archive, model, watts, day=day, note="before the repair" if model == "Cirrus Wren" else "")
    with server(archive).browser() as client:
        yield client


def models(page):
    return re.findall(r'<th scope="row"><a href="/findings/[^"]*">Teasel Works ([\w ]+)</a>', page.text)


def test_a_first_start_says_what_to_do_first(browser):
    page = browser.get("/")
    assert [one for one in ("Try the sample", "New amplifier", "Import files") if one in page.text] == [
        "Try the sample", "New amplifier", "Import files",
    ]  # fmt: skip
    assert page.text.count("<li>") >= 3


@pytest.mark.parametrize(
    ("sort", "expected"),
    [
        ("name", ["Bramble Tern", "Cirrus Wren", "Gale Sedge"]),
        ("-name", ["Gale Sedge", "Cirrus Wren", "Bramble Tern"]),
        ("day", ["Gale Sedge", "Bramble Tern", "Cirrus Wren"]),
        ("power-4", ["Cirrus Wren", "Gale Sedge", "Bramble Tern"]),
        ("-power-4", ["Bramble Tern", "Gale Sedge", "Cirrus Wren"]),
        ("nonsense", ["Cirrus Wren", "Bramble Tern", "Gale Sedge"]),  # the newest first
    ],
)
def test_the_list_is_sorted_by_any_column_without_scripts(three, sort, expected):
    page = three.get("/", params={"sort": sort})
    assert models(page) == expected
    other_way = re.search(r'aria-sort="\w+"><a href="([^"]+)"', page.text)[1].replace("&amp;", "&")
    if sort != "nonsense":
        assert models(three.get(other_way)) == expected[::-1]


def test_every_word_of_a_search_has_to_be_there(three):
    assert models(three.get("/", params={"q": "teasel wren"})) == ["Cirrus Wren"]
    assert models(three.get("/", params={"q": "REPAIR"})) == ["Cirrus Wren"]
    nothing = three.get("/", params={"q": "wren tern"})
    assert models(nothing) == []
    assert "Nothing holds all of" in nothing.text


def test_powers_stand_with_their_interval_and_a_curve(three):
    page = three.get("/")
    assert "120.0 ± 2.0\N{NO-BREAK SPACE}W".replace(" ± ", "\N{NO-BREAK SPACE}±\N{NO-BREAK SPACE}") in page.text
    assert page.text.count("<polyline") == 3


def test_a_power_that_is_not_on_the_terms_says_so(server, tmp_path):
    archive = tmp_path / "archive"
    archive.mkdir()
    a_session(archive, "Low Tide", 90.0, load_ohm=4.2, supply_v=None)  # nothing can carry it to 14.4 V
    with server(archive).browser() as client:
        page = client.get("/")
    assert re.search(r"as measured at 4\.2.ohm", page.text)


def test_a_changed_session_is_told_anew_and_others_are_not(three, tmp_path):
    three.get("/")
    archive = tmp_path / "archive"
    store = Archive(archive)
    session = next(one for one in store.list_sessions().sessions if one.amplifier.model == "Gale Sedge")
    store.void_capture(session, 1, "the lead came off")
    row = re.search(r"Teasel Works Gale Sedge</a>.*?</tr>", three.get("/").text, re.DOTALL)[0]
    assert "120.0" not in row
    assert "<polyline" not in row
    asked = []
    store.overview(lambda one: asked.append(one.id) or "{}", form="1")
    assert asked == []


def test_many_sessions_are_not_read_while_a_page_waits(server, tmp_path):
    archive = tmp_path / "archive"
    archive.mkdir()
    for day in range(1, 6):
        a_session(archive, f"Reed {day}", 50.0 + day, day=day)
    with server(archive).browser() as client:
        page = client.get("/")
        assert "5 sessions are not in this list yet" in page.text
        assert "Nothing holds all of" not in page.text  # nobody has searched for anything
        job = client.post("/amplifiers/read", data={"form_token": token_of(page)}).headers["location"]
        until = time.monotonic() + 20
        while "location" not in client.get(job).headers and time.monotonic() < until:
            time.sleep(0.05)
        assert len(models(client.get("/"))) == 5


def test_a_session_that_cannot_be_told_of_is_named_and_does_not_hide_the_others(three, tmp_path):
    three.get("/")
    folder = next((tmp_path / "archive").glob("*gale*"))
    (folder / "figures.json").write_text("{ torn")
    page = three.get("/")
    assert len(models(page)) == 2
    assert folder.name in page.text


def test_comparing_takes_two_and_refuses_less(three):
    page = three.get("/compare", params={"session": "gale"})
    assert page.status_code == 422
    assert "one session was chosen" in page.text
    wrong = three.get("/compare", params={"session": ["gale", "tern"], "load": "four"})
    assert (wrong.status_code, "&#34;four&#34; is no number" in wrong.text) == (422, True)
    assert 'value="four"' in wrong.text
    answer = three.get("/compare", params={"session": ["gale", "tern"]})
    job = answer.headers["location"]
    until = time.monotonic() + 30
    while "location" not in (last := three.get(job)).headers and time.monotonic() < until:
        time.sleep(0.1)
    shown = three.get(last.headers["location"]) if "location" in last.headers else last
    assert "That did not work" not in shown.text, shown.text


def new(browser, **fields):
    page = browser.get("/amplifiers/new")
    usual = {"do": "keep", ".0.maker": "Gorse & Plover", ".0.model": "Sedge 2", ".0.outputs": "A"}
    return browser.post("/amplifiers/new", data={"form_token": token_of(page), **usual, **fields})


def test_a_typed_amplifier_becomes_a_file_that_says_the_same(browser):
    answer = new(
        browser,
        **{
            ".0.price.amount": "329", ".0.price.currency": "GBP", ".0.size_mm": "310 x 180 x 52", ".0.fuse_a": "60",
            ".0.controls": "gain: minimum\r\nboost: off", "ratings.0.quantity": "power", "ratings.0.value": "520,5",
            "ratings.0.load_ohm": "2", "ratings.3.quantity": "snr", "ratings.3.value": "92", "ratings.3.unit": "dB",
            "inside.0.fuses_a": "30 30", "inside.0.full_bridge": "no",
        },
    )  # fmt: skip
    assert (answer.status_code, answer.headers["location"]) == (303, "/amplifiers/gorse-plover-sedge-2")
    file = browser.get("/amplifiers/gorse-plover-sedge-2/file")
    assert 'filename="gorse-plover-sedge-2.toml"' in file.headers["content-disposition"]
    assert tomllib.loads(file.text) == {
        "maker": "Gorse & Plover", "model": "Sedge 2", "outputs": ["A"], "fuse_a": 60,
        "price": {"amount": 329, "currency": "GBP"}, "size_mm": [310, 180, 52],
        "controls": {"gain": "minimum", "boost": "off"},
        "ratings": [
            {"quantity": "power", "value": 520.5, "unit": "W", "load_ohm": 2},
            {"quantity": "snr", "value": 92, "unit": "dB"},
        ],
        "inside": {"fuses_a": [30, 30], "full_bridge": False},
    }  # fmt: skip


@pytest.mark.parametrize(
    ("field", "typed", "told"),
    [
        ("ratings.0.value", "1,500", "may mean two numbers"),
        ("ratings.0.value", "plenty", "is no number"),
        ("ratings.0.channels_driven", "1.5", "is no whole number"),
        ("ratings.0.thd_percent", "-1", "thd_percent"),
        (".0.controls", "gain minimum", "is no pair"),
    ],
)
def test_what_is_wrong_is_told_and_no_word_is_lost(browser, field, typed, told):
    answer = new(browser, **{"ratings.0.value": "520", "ratings.0.quantity": "power", field: typed})
    assert answer.status_code == 422
    assert told in answer.text
    assert typed in answer.text
    assert 'value="Gorse &amp; Plover"' in answer.text
    assert browser.get("/amplifiers/gorse-plover-sedge-2").status_code == 400  # nothing was kept


def test_rows_are_added_and_left_out_without_scripts(browser):
    token = token_of(browser.get("/amplifiers/new"))
    typed = {"ratings.0.value": "520", "ratings.1.value": "300", "form_token": token}
    more = browser.post("/amplifiers/new", data={**typed, "do": "add-ratings"})
    assert (more.status_code, 'name="ratings.2.value"' in more.text) == (200, True)
    fewer = browser.post("/amplifiers/new", data={**typed, "do": "out-ratings-0"})
    values = re.findall(r'name="ratings\.\d\.value"[^>]*value="(\d*)"', fewer.text.split("<template")[0])
    assert values == ["300"]


def test_findings_come_while_one_types_with_what_is_left_open(browser):
    token = token_of(browser.get("/amplifiers/new"))
    typed = {"form_token": token, "ratings.0.value": "", "ratings.1.quantity": "power", "ratings.1.value": "1600"}
    said = browser.post("/amplifiers/look", data=typed)
    assert 'data-code="unstated"' in said.text
    assert re.search(r'data-said="1">Not said: the load, the supply voltage, the distortion', said.text)
    full = {"ratings.1.load_ohm": "2", "ratings.1.supply_v": "14.4", "ratings.1.thd_percent": "1", ".0.fuse_a": "30"}
    said = browser.post("/amplifiers/look", data={**typed, **full})
    assert "data-said" not in said.text
    assert 'class="arithmetic"' in said.text
    assert re.search(r'"supply-current"><p><span class="strength (doubtful|contradiction)"', said.text)  # of 30 A


def test_a_second_amplifier_of_a_name_is_refused(browser):
    assert new(browser).status_code == 303
    again = new(browser)
    assert (again.status_code, "There is a paper gorse-plover-sedge-2" in again.text) == (422, True)


def test_comments_and_keys_without_a_field_stay_and_changes_are_taken_back(browser):
    new(browser)
    page = browser.get("/amplifiers/gorse-plover-sedge-2")
    token = token_of(page)
    text = 'maker = "Gorse & Plover"  # a small one\nmodel = "Sedge 2"\nfuse_a = 60  # on the board\n'
    address = "/amplifiers/gorse-plover-sedge-2"
    assert browser.post(f"{address}/text", data={"form_token": token, "text": text}).status_code == 303
    fields = {".0.maker": "Gorse & Plover", ".0.model": "Sedge 2", ".0.outputs": "", ".0.fuse_a": "80"}
    kept = browser.post(address, data={"form_token": token, "do": "keep", "state": "2", **fields})
    assert kept.status_code == 303
    assert browser.get(f"{address}/file").text == text.replace("60", "80")
    browser.post(f"{address}/back", data={"form_token": token})
    assert browser.get(f"{address}/file").text == text
    browser.post(f"{address}/back", data={"form_token": token, "to": "3"})
    assert "fuse_a = 80" in browser.get(f"{address}/file").text
    assert "state 3 counts" in browser.get(f"{address}?state=1").text


def test_a_faulty_file_is_told_by_line_and_kept_in_its_field(browser):
    new(browser)
    address = "/amplifiers/gorse-plover-sedge-2"
    data = {"form_token": token_of(browser.get(address)), "text": 'maker = "Gorse"\nmodel = "S"\nfuse = 60\n'}
    answer = browser.post(f"{address}/text", data=data)
    assert answer.status_code == 422
    assert "line 3" in answer.text
    assert "fuse = 60" in answer.text
    assert "fuse = 60" not in browser.get(f"{address}/file").text


@pytest.mark.bench
def test_a_list_of_a_thousand_sessions_is_quick(server, tmp_path, capsys):
    archive = tmp_path / "archive"
    archive.mkdir()
    first = a_session(archive, "Gale Sedge", 120.0)
    source = archive / first
    for number in range(999):
        name = f"20{31 + number % 10}-05-{1 + number % 28:02d}-gale-sedge-{number:04x}"
        folder = archive / name
        (folder / "captures").mkdir(parents=True)
        record = json.loads((source / "session.json").read_text())
        (folder / "session.json").write_text(json.dumps({**record, "id": name}))
        (folder / "figures.json").hardlink_to(source / "figures.json")
        for capture in (source / "captures").iterdir():
            for copy in range(9):
                (folder / "captures" / f"{copy + 1:02d}-ramp").mkdir()
                (folder / "captures" / f"{copy + 1:02d}-ramp" / "capture.json").hardlink_to(capture / "capture.json")
    place = Workbench(archive)
    place.overviews.read()
    took = []
    with server(archive).browser() as client:
        for _ in range(5):
            began = time.perf_counter()
            assert "of 1000 sessions" in client.get("/?sort=-power-4&q=gale").text
            took.append(time.perf_counter() - began)
    with capsys.disabled():
        print(f"\nlist of 1,000 sessions: {1e3 * min(took):.0f} ms, {min(took) / 0.3:.2f} of 300 ms")  # noqa: T201
