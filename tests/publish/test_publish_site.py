"""A site's pages: whole without their script, quick with it, open to everybody, silent towards the network."""

import posixpath
import re
import time
from contextlib import contextmanager
from html.parser import HTMLParser

import pytest

from wattproof.publish import SiteFigure, SiteRating, SiteSession, amplifier_pages, site_pages

NASTY = '<script>alert("x")</script> & "Söhne"'


def figure(name, value, load_ohm=None, *, carried=False):
    return SiteFigure(name=name, load_ohm=load_ohm, value=value, text=f"{value:g} ± 1.0 W", carried=carried)


def session(number, **changes):
    watts = 100.0 + 7 * (number * 37 % 101)
    told = {
        "session": f"2031-05-{number % 28 + 1:02d}-otter-{number}-a3f9",
        "day": f"2031-05-{number % 28 + 1:02d}",
        "maker": "Reed & Marten",
        "model": f"Otter {number}",
        "bench": "Boathouse bench",
        "note": "",
        "price": "329 GBP",
        "facts": (("Maker", "Reed & Marten"), ("Fuse", "60 A")),
        "lead": ("It was tested.", "It was found to do what it does."),
        "figures": (
            figure("power_at_thd_1", watts / 2, 4.0),
            figure("power_at_thd_1", watts, 2.0, carried=True),
            figure("idle_current", 1.0),
        ),
        "ratings": (
            SiteRating(rating="power 100 W", reading="at 1 %", verdict="meets"),
            SiteRating(rating="power 200 W", reading="at 1 %", verdict="meets"),
            SiteRating(rating="power 200 W", reading="at 10 %", verdict="falls short"),
            SiteRating(rating="snr 90 dB", reading="A-weighted", verdict="cannot tell"),
        ),
        "driven": 1,
    }
    return SiteSession.model_validate({**told, **changes})


def made(*sessions):
    return site_pages(sessions, program="wattproof 0.1.0")


class Links(HTMLParser):
    def __init__(self, text):
        super().__init__()
        self.found, self.sources = [], []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        told = dict(attrs)
        self.found += [told["href"]] if tag == "a" else []
        self.sources += [
            value
            for name, value in attrs
            if name in {"src", "srcset", "data", "action"} or (name == "href" and tag != "a")
        ]


def test_every_link_leads_to_a_page_that_is_made():
    sessions = [session(1), session(2), session(3, model="Otter 1", session="2031-06-01-otter-1-beef")]
    pages = made(*sessions)
    there = {*pages, *(f"sessions/{one.session}.html" for one in sessions)}
    followed = set()
    for path, text in pages.items():
        links = Links(text)
        assert links.sources == []
        for link in links.found:
            if not link.startswith("#"):
                followed.add(posixpath.normpath(posixpath.join(posixpath.dirname(path), link)))
    assert followed == there


def test_what_the_ratings_readings_say_together_is_counted():
    assert session(1).verdicts() == {"meets": 1, "cannot tell": 1, "depends on the reading": 1}
    assert session(1, ratings=()).verdicts() == {}
    text = made(session(1))["index.html"]
    assert "1 met" in text
    assert "1 depends on the reading" in text
    assert "none judged" in made(session(1, ratings=()))["index.html"]


def test_amplifiers_of_like_names_have_pages_of_their_own():
    sessions = [session(1, model=model) for model in ("Otter 4", "Otter-4", "Öttér 4", "水獭")] + [
        session(1, model="Otter 4")
    ]
    pages = amplifier_pages(sessions)
    assert len(set(pages.values())) == len(pages) == 4
    assert all(re.fullmatch(r"amplifiers/[a-z0-9-]+\.html", page) for page in pages.values())
    assert amplifier_pages(reversed(sessions)) == pages


def test_strangers_words_stay_words():
    pages = made(
        session(
            1,
            maker=NASTY,
            model=NASTY,
            note=NASTY,
            bench=NASTY,
            day=NASTY,
            price=NASTY,
            lead=(NASTY,),
            facts=((NASTY, NASTY),),
            ratings=(SiteRating(rating=NASTY, reading=NASTY, verdict="meets"),),
            figures=(figure("power_at_thd_1", 90.0, 4.0).model_copy(update={"text": NASTY}),),
        )
    )
    assert sum(text.count("&lt;script&gt;alert") for text in pages.values()) >= 20
    for text in pages.values():
        assert "<script>alert" not in text
        assert text.count("<script>") <= 1


def test_the_same_sessions_in_any_order_give_the_same_bytes():
    sessions = [session(number) for number in range(5)]
    assert made(*sessions) == made(*reversed(sessions))


def test_an_empty_archive_has_its_two_pages():
    pages = made()
    assert set(pages) == {"index.html", "compare.html"}
    assert "No session has been published yet." in pages["index.html"]


def test_a_figure_carried_by_the_model_is_marked_and_a_missing_one_is_empty():
    text = made(session(1))["compare.html"]
    cells = re.findall(r'<td class="number"[^>]*>([^<]*)</td>', text)
    assert [cell.replace("\xa0", " ") for cell in cells] == [
        "1", "", "179.5 ± 1.0 W", "359 ± 1.0 W *", "", "1 ± 1.0 W", "", "329 GBP",
    ]  # fmt: skip


def test_a_thousand_sessions_make_a_light_page_at_once():
    sessions = [session(number) for number in range(1000)]
    began = time.process_time()
    pages = made(*sessions)
    assert time.process_time() - began < 15  # a page an amplifier: a thousand and two
    assert len(pages["index.html"].encode()) < 1_000_000
    assert len(pages) == 1002


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return written(tmp_path_factory.mktemp("site"), 300)


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    return written(tmp_path_factory.mktemp("small"), 8)


def written(home, n_sessions):
    (home / "amplifiers").mkdir()
    sessions = [session(number) for number in range(n_sessions)]
    sessions.append(session(300, model="Water Vole", figures=(), ratings=(), note="after the repair"))
    for path, text in made(*sessions).items():
        (home / path).write_text(text, encoding="utf-8")
    return home


@contextmanager
def opened(browser, path, **wishes):
    context = browser.new_context(**wishes)
    page = context.new_page()
    page.faults = []
    page.on("console", lambda said: page.faults.append(said.text))
    page.on("request", lambda sent: page.faults.append(sent.url) if sent.url != path.as_uri() else None)
    page.goto(path.as_uri())
    yield page
    context.close()


PAGES = ("index.html", "compare.html", "amplifiers/reed-marten-otter-7.html")


@pytest.mark.parametrize(
    ("name", "width", "scheme"), [(n, w, s) for n in PAGES for w, s in ((1280, "light"), (380, "dark"))]
)
def test_everybody_can_use_it(browser, small, name, width, scheme):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    size = {"width": width, "height": 800}
    with opened(browser, small / name, viewport=size, color_scheme=scheme) as page:
        found = axe.run(page).response
        assert len(found["passes"]) > 15
        assert [(fault["id"], fault["nodes"][0]["html"][:120]) for fault in found["violations"]] == []
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert page.faults == []


def test_searching_and_sorting_answer_at_once(browser, folder):
    with opened(browser, folder / "index.html") as page:
        page.locator("#search").fill("vole repair")
        assert page.locator("tbody tr:visible").count() == 1
        assert page.locator("output").inner_text() == "Shown: 1 of 301"
        page.locator("#search").fill("")
        page.locator("#verdict").select_option("met")
        assert page.locator("tbody tr:visible").count() == 300
        page.locator("#verdict").select_option("")
        head = page.get_by_role("button", name="Most power")
        for sign, wanted in ((1, "ascending"), (-1, "descending")):
            head.click()
            assert page.locator("th[aria-sort]").get_attribute("aria-sort") == wanted
            values = page.eval_on_selector_all(
                "tbody td:nth-child(3)", "all => all.map(one => one.dataset.value ?? null)"
            )
            assert values[-1] is None  # what is not known comes last either way
            numbers = [sign * float(value) for value in values[:-1]]
            assert numbers == sorted(numbers)
        assert page.faults == []


def test_without_its_script_all_is_there_and_no_dead_control(browser, folder):
    with opened(browser, folder / "index.html", java_script_enabled=False) as page:
        assert page.locator("tbody tr:visible").count() == 301
        assert page.locator("form:visible, thead button").count() == 0
