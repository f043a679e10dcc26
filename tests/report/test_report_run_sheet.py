"""The run sheet as text and as a page: complete, within its width, safe with strangers' words."""

from html.parser import HTMLParser

import pytest

from wattproof.amplifier import Amplifier, Rating
from wattproof.bench import Bench, BenchChannel, Limits, Load, Supply
from wattproof.plan import SheetWishes, make_run_sheet
from wattproof.report import run_sheet_page, run_sheet_text

AMPLIFIER = Amplifier(
    maker="Sorrel Thaw",
    model="Dunlin 1",
    fuse_a=60,
    ratings=(
        Rating(quantity="power", value=300, unit="W", load_ohm=4, supply_v=14.4, thd_percent=1),
        Rating(quantity="snr", value=95, unit="dB"),
    ),
    **{"class": "D"},
)
BENCH = Bench(
    name="Boathouse bench",
    channels=(BenchChannel(input=1, role="load_voltage", scale=90.0, scale_u=0.002, full_scale=1.0),),
    loads=(
        Load(name="4 ohm", resistance_ohm=4.03, continuous_w=1000, rise_k=80),
        Load(name="2 ohm", resistance_ohm=2.01, continuous_w=1000, rise_k=80),
    ),
    supply=Supply(nominal_v=14.4, max_current_a=150),
    limits=Limits(load_voltage_v=90),
)
VOID = {"meta", "br", "link"}


class Page(HTMLParser):
    """Tags that are closed in their order, ids, links, and all text."""

    def __init__(self, html):
        super().__init__()
        self.open, self.ids, self.links, self.words, self.ticks = [], [], [], [], 0
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        named = dict(attrs)
        self.ids += [named["id"]] if "id" in named else []
        self.links += [value for key, value in attrs if key in {"href", "src"}]
        self.ticks += named.get("class") == "tick"
        assert tag != "script"
        assert not [key for key in named if key.startswith("on")]
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.words.append(data)

    @property
    def text(self):
        return " ".join(" ".join(self.words).replace("\N{NO-BREAK SPACE}", " ").split())


@pytest.fixture(scope="module")
def sheet():
    return make_run_sheet(AMPLIFIER, BENCH, wishes=SheetWishes(below_minimum=True, burst="both"))


@pytest.fixture(scope="module")
def page(sheet):
    return Page(run_sheet_page(sheet, amplifier=AMPLIFIER, bench=BENCH))


def test_the_text_keeps_to_120_columns_and_leaves_nothing_out(sheet):
    text = run_sheet_text(sheet)
    flat = " ".join(text.split())
    assert max(map(len, text.splitlines())) <= 120
    said = [*sheet.cautions, *(q.text for q in sheet.questions), *(c.message for c in sheet.checks)]
    said += [one.message for one in sheet.decidable] + [step.name for step in sheet.steps]
    assert [one for one in said if one not in flat] == []


@pytest.mark.parametrize("name", ["x" * 300, "one " * 80])
def test_the_text_keeps_to_its_width_whatever_a_load_is_called(name):
    load = BENCH.loads[0].model_copy(update={"name": name.strip()})
    text = run_sheet_text(make_run_sheet(AMPLIFIER, BENCH.model_copy(update={"loads": (load,)})))
    assert max(map(len, text.splitlines())) <= 120


def test_the_page_is_whole_and_fetches_nothing(page):
    assert page.open == []
    assert len(page.ids) == len(set(page.ids))
    assert [link for link in page.links if not link.startswith("#")] == []
    assert {link[1:] for link in page.links} <= set(page.ids)


def test_the_page_leaves_nothing_out_and_has_cautions_first(sheet, page):
    def plain(text):
        return text.replace("\N{EN DASH}", "-").replace("\N{MINUS SIGN}", "-")

    shown = plain(page.text)
    said = [*sheet.cautions, *(q.text for q in sheet.questions), *(c.message for c in sheet.checks)]
    said += [one.message for one in sheet.decidable] + [step.name for step in sheet.steps]
    assert [one for one in said if plain(one) not in shown] == []
    assert shown.index(sheet.cautions[0]) < shown.index(sheet.questions[0].text) < shown.index("recorder floor")


def test_every_choice_and_every_step_has_a_box_to_tick(sheet, page):
    assert page.ticks == sum(len(question.choices) for question in sheet.questions) + len(sheet.steps)


def test_the_same_sheet_gives_the_same_bytes(sheet):
    first, second = (run_sheet_page(sheet, amplifier=AMPLIFIER, bench=BENCH) for _ in range(2))
    assert first == second


def test_strangers_words_are_escaped():
    nasty = "<script>alert(1)</script>"
    thing = AMPLIFIER.model_copy(update={"model": nasty, "controls": {nasty: nasty}})
    bench = BENCH.model_copy(update={"name": nasty, "loads": (BENCH.loads[0].model_copy(update={"name": nasty}),)})
    page = Page(run_sheet_page(make_run_sheet(thing, bench), amplifier=thing, bench=bench))
    assert nasty in page.text


def test_a_sheet_without_ratings_and_checks_still_makes_a_page(sheet):
    thing = AMPLIFIER.model_copy(update={"ratings": ()})
    bare = make_run_sheet(thing, BENCH).model_copy(update={"checks": ()})
    page = Page(run_sheet_page(bare, amplifier=thing, bench=BENCH))
    assert "nothing to judge" in page.text
    assert "No knee is expected" in page.text
    assert "nothing to judge" in run_sheet_text(bare)
