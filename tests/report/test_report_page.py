"""The page: one file, no script, nothing fetched, every stranger's word escaped."""

import re
from datetime import datetime
from html.parser import HTMLParser

import pytest

from wattproof.amplifier import Amplifier, Rating
from wattproof.bench import Bench, BenchChannel, Load
from wattproof.errors import Notice
from wattproof.measure import CapturedChannel, CaptureResult, CurvePoint, Figure
from wattproof.report import CAUTIONS, session_page
from wattproof.report.page import typeset

VOID = {"meta", "link", "br", "img", "input", "hr", "col"}


class Outline(HTMLParser):
    """Takes a page apart and complains of what is left open."""

    def __init__(self):
        super().__init__()
        self.open, self.tags, self.ids, self.links, self.headings, self.text = [], [], [], [], [], []

    def handle_starttag(self, tag, attrs):
        told = dict(attrs)
        self.tags.append((tag, told))
        self.ids += [told["id"]] if "id" in told else []
        self.links += [told["href"]] if tag == "a" else []
        self.headings += [int(tag[1])] if re.fullmatch("h[1-6]", tag) else []
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open, f"</{tag}> closes nothing"
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.text.append(data)


def outline(page):
    parser = Outline()
    parser.feed(page)
    parser.close()
    return parser


@pytest.fixture(scope="session")
def page(results, bench, amplifier):
    when = datetime(2031, 5, 14, 9, 30)  # noqa: DTZ001
    return session_page(results, bench=bench, amplifier=amplifier, title="Bittern 1", generated=when)


@pytest.fixture(scope="session")
def parsed(page):
    return outline(page)


def test_the_page_is_well_formed(parsed):
    assert parsed.open == []
    assert len(set(parsed.ids)) == len(parsed.ids)


def test_headings_descend_one_step_at_a_time(parsed):
    assert parsed.headings[0] == 1
    assert parsed.headings.count(1) == 1
    assert all(after - before <= 1 for before, after in zip(parsed.headings, parsed.headings[1:], strict=False))


def test_links_lead_to_places_on_the_page(parsed):
    assert len(parsed.links) > 5
    assert {link.removeprefix("#") for link in parsed.links} <= set(parsed.ids)


def test_the_page_fetches_nothing_and_runs_nothing(page, parsed):
    addresses = set(re.findall(r"https?://[^\"'\s<>]+", page))
    assert addresses <= {"http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"}
    assert not {"script", "link", "img", "iframe", "object"} & {tag for tag, _ in parsed.tags}
    assert not [name for _, attrs in parsed.tags for name in attrs if name.startswith("on") or name == "src"]
    assert not re.search(r"@import|url\((?!#)", page)
    policy = next(attrs["content"] for _, attrs in parsed.tags if attrs.get("http-equiv") == "Content-Security-Policy")
    assert policy == "default-src 'none'; style-src 'unsafe-inline'; img-src data:"


def test_every_figure_doubt_and_caution_is_on_the_page(parsed, results):
    text = " ".join(" ".join(parsed.text).split())
    assert all(caution in text for caution in CAUTIONS)
    assert all(warning.message in text and warning.hint in text for result in results for warning in result.warnings)
    rows = [tag for tag, attrs in parsed.tags if tag == "details"]
    assert len(rows) == sum(len(result.figures) for result in results)


def leading_rows(page):
    """Take the rows of the first section apart: name, value, conditions, capture."""
    key = page[page.index('id="found"') : page.index('id="doubts"')].partition('id="strip"')[0]
    rows = re.findall(r'<tr role="row"><th scope="row".*?</tr>', key)
    cells = [re.findall(r"<t[hd] [^>]*>(.*?)</t[hd]>", row) for row in rows]
    return [[re.sub("<[^>]*>", "", cell).replace("\N{NO-BREAK SPACE}", " ") for cell in row] for row in cells]


def test_the_leading_figures_stand_in_the_order_in_which_a_buyer_asks(page):
    names = [name for name, *_ in leading_rows(page)]
    assert names == [
        *["Power at 1 % distortion", "Power at 10 % distortion"] * 2,
        "Sustained power at 290 s",
        *("Burst power", "Burst headroom"),
        "Efficiency",
        *("Supply current at idle", "Noise, r.m.s.", "Noise, r.m.s."),
        *("Power in the load", "Distortion and noise (THD+N)", "Efficiency"),
    ]


def test_each_leading_power_stands_with_its_doubt_its_load_and_its_supply(page):
    rows = leading_rows(page)
    for name, value, said, _ in rows[:6]:
        assert re.fullmatch(r"\d+\.\d ± \d\.\d W", value), name
        assert re.search(r"\d\.\d+ ohm, \d\d\.\d\d V", said), name


def test_what_all_leading_figures_share_is_said_once():
    powers = [
        Figure(name=f"power_at_thd_{n}", value=1.0 * n, u=0.1, unit="W", origin="a.wav", conditions=conditions)
        for n in (1, 10)
        for conditions in [{"frequency_hz": 47.0 + 1e-5 * n, "load_ohm": 4.0, "supply_v": 14.0, "basis": "v*i"}]
    ]
    result = CaptureResult(file="a.wav", kind="ramp", figures=tuple(powers))
    page = session_page([result], bench=None, amplifier=None, title="x").replace("\N{NO-BREAK SPACE}", " ")
    assert "Unless a row says otherwise: 47 Hz, from v·i." in page.partition('id="captures"')[0]
    assert [said for _, _, said, _ in leading_rows(page)] == ["4 ohm, 14.00 V"] * 2
    other = powers[0].model_copy(update={"name": "burst_power", "conditions": {"frequency_hz": 997.0}})
    burst = CaptureResult(file="b.wav", kind="burst", figures=(other,))
    page = session_page([result, burst], bench=None, amplifier=None, title="x").replace("\N{NO-BREAK SPACE}", " ")
    assert [said.split(",")[0] for _, _, said, _ in leading_rows(page)] == ["47 Hz", "47 Hz", "997 Hz"]


def test_the_longest_sustained_power_stands_for_all_and_tells_the_first(page, results):
    first = results[4].figure("sustained_power")
    (said,) = [said for name, _, said, _ in leading_rows(page) if name.startswith("Sustained")]
    assert f"{first.value:.1f} ± " in said
    assert said.endswith("W at 10 s")


def test_a_sustained_power_without_its_time_still_has_its_row():
    figures = [
        Figure(name="sustained_power", value=value, u=0.1, unit="W", origin="a.wav", conditions=conditions)
        for value, conditions in ((9.0, {}), (8.0, {"at_s": "late"}), (7.0, {"at_s": 5.0}))
    ]
    page = session_page(
        [CaptureResult(file="a.wav", kind="hold", figures=tuple(figures))], bench=None, amplifier=None, title="x"
    )
    assert [name for name, *_ in leading_rows(page)] == ["Sustained power at 5 s"]


def test_typed_readings_stand_apart_from_recordings():
    figures = [
        Figure(name="load_power", value=value, u=0.1, unit="W", origin=origin, conditions={"supply_v": 14.0})
        for value, origin in ((1.0, "a.wav 0-1 s"), (2.0, "r.csv line 3"))
    ]
    recorded = CaptureResult(file="a.wav", kind="steady", figures=(figures[0],))
    typed = CaptureResult(file="r.csv", kind="readings", figures=(figures[1],))
    page = session_page([typed, recorded], bench=None, amplifier=None, title="x")
    order = [page.index(text) for text in ("Measured from recordings", "#capture-2", "Typed from meters", "#capture-1")]
    assert order == sorted(order)
    assert [file for *_, file in leading_rows(page)] == ["a.wav", "r.csv, line 3"]
    assert "One capture and one typed reading." in page
    alone = session_page([typed], bench=None, amplifier=None, title="x")
    assert "Measured from recordings" not in alone
    assert "Typed from meters" in alone


def test_each_of_several_outputs_is_named():
    figures = [
        Figure(name="load_power", value=1.0, u=0.1, unit="W", output=output, origin="a.wav 0-1 s") for output in "AB"
    ]
    page = session_page(
        [CaptureResult(file="a.wav", kind="steady", figures=tuple(figures))], bench=None, amplifier=None, title="x"
    )
    assert [name for name, *_ in leading_rows(page)] == [f"Power in the load, output {output}" for output in "AB"]


def test_every_part_of_a_strip_tells_watts_and_per_cent(page):
    parts = re.findall(r'aria-hidden="true"></i>(.*?)</li>', page)
    assert len(parts) == 4
    for part in parts:
        said = part.replace("\N{NO-BREAK SPACE}", " ")
        assert re.search(r"(load|heat) \d+(\.\d+)?( ± [\d.]+)? W, \d+\.\d+( ± [\d.]+)? %", said)
        assert "±" in said


def test_the_strip_s_widths_are_the_figures(page, results):
    hold = results[4]
    widths = [float(width) for width in re.findall(r'style="flex: ([\d.]+) 1 0"', page)]
    assert widths[-2:] == pytest.approx([hold.figure("load_power").value, hold.figure("heat", None).value], rel=1e-4)


def test_without_a_load_power_the_efficiency_parts_the_strip():
    parts = (("supply_power", 90.0, "W"), ("efficiency", 0.8, "W/W"), ("heat", 18.0, "W"))
    figures = tuple(
        Figure(name=n, value=v, u=0.0, unit=unit, output=None, origin="a.wav 0-1 s") for n, v, unit in parts
    )
    page = session_page(
        [CaptureResult(file="a.wav", kind="hold", figures=figures)], bench=None, amplifier=None, title="x"
    )
    widths = [float(width) for width in re.findall(r'style="flex: ([\d.]+) 1 0"', page)]
    assert widths == pytest.approx([72.0, 18.0])


def test_a_power_without_its_supply_voltage_says_so_first():
    power = Figure(name="load_power", value=9.0, u=0.1, unit="W", origin="a.wav 0-1 s")
    volts = Figure(name="supply_voltage", value=13.9, u=0.01, unit="V", output=None, origin="a.wav 0-1 s")
    pages = [
        session_page(
            [CaptureResult(file="a.wav", kind="steady", figures=figures)], bench=None, amplifier=None, title="x"
        )
        for figures in ((power,), (power, volts))
    ]
    assert ["supply voltage not recorded" in page for page in pages] == [True, False]
    assert "13.90\N{NO-BREAK SPACE}V</td>" in pages[1]


def test_an_impossible_efficiency_gets_no_strip():
    parts = (("supply_power", 90.0, None), ("load_power", 100.0, "A"), ("heat", -10.0, None))
    figures = tuple(Figure(name=n, value=v, u=1.0, unit="W", output=o, origin="a.wav 0-1 s") for n, v, o in parts)
    page = session_page(
        [CaptureResult(file="a.wav", kind="steady", figures=figures)], bench=None, amplifier=None, title="x"
    )
    assert 'class="bar"' not in page
    assert "-10" in page or "−10" in page


def test_the_same_results_give_the_same_bytes(results, bench, amplifier):
    some = results[2:4]
    first, second = (session_page(some, bench=bench, amplifier=amplifier, title="x") for _ in range(2))
    assert first == second


def test_a_page_of_nothing_still_says_so():
    page = session_page([], bench=None, amplifier=None, title="Nothing yet")
    assert outline(page).open == []
    assert "no figure that sums them up" in page
    assert "Nothing doubtful was noticed" in page
    assert "Capture by capture" not in page


def bare_headings(page):
    """Find headings that nothing stands under before the next of their rank or of a higher one."""
    parts = re.split(r"<h([1-6])[^>]*>(.*?)</h\1>", page.partition("<body>")[2], flags=re.DOTALL)
    ranks, titles, texts = parts[1::3], parts[2::3], parts[3::3]
    empty = [not re.sub(r"<[^>]*>", "", text).strip() for text in texts]
    return [t for t, r, none, after in zip(titles, ranks, empty, [*ranks[1:], "0"], strict=True) if none and after <= r]


@pytest.mark.parametrize("chosen", [[], [0], [1], [2], [3], [4], [5], [0, 5]])
def test_no_heading_stands_over_nothing(results, chosen):
    page = session_page([results[n] for n in chosen], bench=None, amplifier=None, title="x")
    assert bare_headings(page) == []
    assert bare_headings(page.replace("</main>", "<h2>Lost</h2></main>").partition("<footer>")[0]) == ["Lost"]


EVIL = "<script>alert(1)</script>\"'&{{ 7*7 }}"


def test_hostile_words_stay_words():
    figure = Figure(name=EVIL, value=1.0, u=0.1, unit=EVIL, output=EVIL, conditions={EVIL: EVIL}, origin=EVIL)
    key = figure.model_copy(update={"name": "load_power"})
    result = CaptureResult(
        file=EVIL,
        kind="steady",
        figures=(figure, key),
        channels=(CapturedChannel(role=EVIL, output=EVIL, name=EVIL, peak=1.0, clipped=0),),
        curve=tuple(CurvePoint(t_s=float(n), output=EVIL, load_power=10.0**n, thd_n=0.01) for n in range(3)),
        warnings=(Notice(code=EVIL, message=EVIL, hint=EVIL),),
    )
    ramp = result.model_copy(update={"kind": "ramp"})
    bench = Bench(
        name=EVIL,
        channels=(BenchChannel(input=EVIL, role="load_voltage", output=EVIL),),
        loads=(Load(name=EVIL, resistance_ohm=4.0),),
    )
    rating = Rating(quantity=EVIL, value=1.0, unit=EVIL, source=EVIL, note=EVIL)
    amplifier = Amplifier(maker=EVIL, model=EVIL, controls={EVIL: EVIL}, notes=EVIL, ratings=(rating,))
    page = session_page([result, ramp], bench=bench, amplifier=amplifier, title=EVIL)
    parsed = outline(page)
    assert parsed.open == []
    assert "script" not in {tag for tag, _ in parsed.tags}
    assert "{{ 7*7 }}" in "".join(parsed.text)
    assert page.count("<h1>") == 1


@pytest.mark.parametrize(
    ("raw", "set_"),
    [
        ("-60.0 dB", "−60.0 dB"),
        ("1.62-1.71 s", "1.62–1.71 s"),
        ("512.3 ± 4.2 W", "512.3 ± 4.2 W"),
        ("10 Hz to 20 kHz", "10 Hz to 20 kHz"),
        ("A-weighted", "A-weighted"),
        ("2031-03-02", "2031-03-02"),
        ("take-1-2.wav and 1-2.wav", "take-1-2.wav and 1-2.wav"),
        ("give --load 3", "give --load 3"),
    ],
)
def test_numbers_are_set_as_print_does(raw, set_):
    assert typeset(raw).replace("\N{NO-BREAK SPACE}", " ") == set_


def test_a_power_rating_says_what_it_leaves_out():
    bare = Amplifier(maker="Saltmarsh", model="Bittern", ratings=(Rating(quantity="power", value=500, unit="W"),))
    page = session_page([], bench=None, amplifier=bare, title="x")
    assert "load, supply voltage, distortion" in page
