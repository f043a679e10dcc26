"""The page of a report: its words in order, its links and ids, what strangers wrote in it, and its bytes."""

import base64
import copy
import hashlib
import json
import re
from collections import Counter
from dataclasses import replace
from html.parser import HTMLParser
from itertools import pairwise

import pytest

from wattproof.publish import Paragraph, Section
from wattproof.publish.html import document_html

VOID = {"meta", "img", "br", "link"}
NASTY = "\"><script>hit()</script><img src=x onerror=hit()>'`${hit()}{{7*7}}</title></style>&lt;&#x3c;]]>--><!--\x07"


class Page(HTMLParser):
    """A page as (tag, attributes) in order, and its text without drawings, scripts and styles."""

    def __init__(self, html):
        super().__init__()
        self.elements = []
        self.open = []
        self.words = []
        self.scripts = []
        self.feed(html)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs), "svg" in self.open))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.elements.append((tag, dict(attrs), "svg" in self.open))

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if "script" in self.open:
            self.scripts.append(data)
        elif not {"svg", "style"} & set(self.open) and data.strip():
            self.words.append((self.open[-1], " ".join(data.split())))

    def all(self, tag):
        return [attributes for name, attributes, _ in self.elements if name == tag]


@pytest.fixture(scope="module")
def html(whole_report):
    return document_html(whole_report())


@pytest.fixture(scope="module")
def page(html):
    return Page(html)


def test_the_page_reads_so(page, snapshot):
    assert [f"{tag}: {text}" for tag, text in page.words] == snapshot


def test_every_element_is_closed_and_ids_are_unique(page):
    assert page.open == []
    ids = Counter(attributes["id"] for _, attributes, _ in page.elements if "id" in attributes)
    assert {name for name, times in ids.items() if times > 1} == set()


def test_every_link_leads_somewhere(page):
    ids = {attributes["id"] for _, attributes, _ in page.elements if "id" in attributes}
    links = [attributes["href"] for attributes in page.all("a")]
    assert len(links) > 8
    assert [link for link in links if not link.startswith("#") or link[1:] not in ids] == []
    said = [name for _, attributes, _ in page.elements for name in attributes.get("aria-labelledby", "").split()]
    assert said
    assert set(said) <= ids


def test_a_link_leads_to_the_row_that_it_names(html):
    links = dict(re.findall(r'<a href="#(capture-\d)">(.*?)</a>', html))
    assert links == {"capture-3": "03-ramp.wav", "capture-4": "04-ramp.wav"}
    for place, name in links.items():
        assert f'<tr id="{place}"><th scope="row">{name}</th>' in html


def test_a_link_to_no_place_is_plain_words(page):
    assert ("p", "nowhere") in page.words
    assert "nowhere" not in [text for tag, text in page.words if tag == "a"]


def test_headings_go_down_one_step_at_a_time(page):
    levels = [int(tag[1]) for tag, _, _ in page.elements if re.fullmatch("h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert max(b - a for a, b in pairwise(levels)) == 1


def test_appendices_come_last_and_keep_their_order(page):
    titles = [text for tag, text in page.words if tag == "h2"]
    assert titles == [
        "Contents",
        "Ratings",
        "Power",
        "Curves",
        "Seen inside",
        "Appendix: Captures",
        "Appendix: Method",
    ]


def test_verdicts_are_told_in_words_and_by_different_shapes(html):
    signs = dict(re.findall(r'<span class="sign chart">(.*?)</span> Verdict: <strong>(.*?)</strong>', html))
    assert sorted(signs.values()) == ["cannot tell", "falls short", "meets"]
    shapes = {re.sub(r'fill="[^"]*"|stroke="[^"]*"', "", sign) for sign in signs}
    assert len(shapes) == 3


def test_numbers_are_set_right_and_as_print_sets_them(html):
    assert '<td class="number">−12.0\N{NO-BREAK SPACE}W</td>' in html
    assert html.count('<th scope="col" class="number">') == 2


def test_a_photograph_is_inside_the_page_and_told(page):
    (image,) = page.all("img")
    assert image["alt"] == "The board from above"
    assert base64.b64decode(image["src"].removeprefix("data:image/jpeg;base64,"))[:3] == b"\xff\xd8\xff"
    assert (image["width"], image["height"]) == ("96", "64")


def test_charts_are_drawn_for_both_widths(html):
    figure = html[html.index('id="chart-distortion"') : html.index('id="chart-sag"')]
    wide, narrow = re.findall(r'<svg[^>]* width="(\d+)"', figure)
    assert 600 < int(wide) < 720
    assert 300 < int(narrow) < 400


def test_the_policy_lets_only_our_scripts_run(page):
    (policy,) = (meta["content"] for meta in page.all("meta") if meta.get("http-equiv") == "Content-Security-Policy")
    assert "unsafe-eval" not in policy
    assert policy.startswith("default-src 'none';")
    kinds = [attributes.get("type", "") for attributes in page.all("script")]
    assert kinds == ["application/json", "", ""]
    digests = [base64.b64encode(hashlib.sha256(script.encode()).digest()).decode() for script in page.scripts[1:]]
    assert re.findall(r"'sha256-([^']*)'", policy) == digests


def test_the_script_is_given_every_row_once(page, whole_report):
    data = json.loads(page.scripts[0])
    text = json.dumps(data["charts"])
    assert data["rows"]
    assert all(text.count(f'"{name}"') >= 2 for name in data["rows"])  # the wide and the narrow chart share them
    names = [series["name"] for series in data["charts"][0][0]["panels"][0]["series"]]
    assert names == ["03-ramp.wav, 4 ohm", "04-ramp.wav, 4 ohm"]


def test_a_number_that_is_none_is_told_to_the_script_as_nothing(whole_report):
    distortion, _ = (block for block in whole_report().sections[3].blocks)
    wide = copy.deepcopy(distortion.wide)
    line = next(layer for layer in wide["layer"] if layer["mark"]["type"] == "line")
    line["data"]["values"].insert(5, {"x": 1.0, "y": float("inf")})
    odd = Section(anchor="odd", title="Odd", blocks=(replace(distortion, wide=wide),))
    page = Page(document_html(replace(whole_report(), sections=(odd,))))
    assert {"x": 1.0, "y": None} in [row for rows in json.loads(page.scripts[0])["rows"].values() for row in rows]


def test_the_same_report_gives_the_same_bytes(html, whole_report):
    assert document_html(whole_report()) == html


def test_strangers_words_stay_words(page, whole_report):
    def say(text):
        return f"{text}{NASTY}"

    attacked = Page(document_html(whole_report(say)))
    # only the class may differ: a column of long words is set wider
    made, wanted = (
        [(tag, sorted(names.keys() - {"class"})) for tag, names, drawn in one.elements if not drawn]
        for one in (attacked, page)
    )
    assert made == wanted
    drawn = {tag for tag, _, drawn in attacked.elements if drawn}
    assert drawn <= {"title", "desc", "g", "path", "rect", "text", "line", "defs", "clippath", "circle", "pattern"}
    assert not [name for _, names, _ in attacked.elements for name in names if name.startswith("on")]
    assert len(attacked.scripts) == 3
    json.loads(attacked.scripts[0])
    ids = [names["id"] for _, names, _ in attacked.elements if "id" in names]
    assert len(ids) == len(set(ids))
    assert all(re.fullmatch(r"[A-Za-z][\w.-]*", name) for name in ids)
    assert "script>hit()" in " ".join(text for _, text in attacked.words)


def test_a_language_that_is_none_is_not_claimed(whole_report):
    bare = replace(whole_report(), sections=(), lead=())
    assert '<html lang="und">' in document_html(replace(bare, language='en" onload="x'))
    assert '<html lang="pt-BR">' in document_html(replace(bare, language="pt-BR"))


def test_a_report_without_charts_carries_no_engine(whole_report):
    plain = Section(anchor="a", title="Only words", blocks=(Paragraph(words=("None.",)),))
    bare = document_html(replace(whole_report(), sections=(plain,)))
    assert len(bare) < 60_000
    assert "vegaEmbed(" in bare  # our own script is there, and finds no chart to ask it for
    assert len(Page(bare).scripts) == 2


def test_anchors_that_two_places_bear_lead_to_the_first(whole_report):
    first, second = (
        Section(anchor="same", title=title, blocks=(Paragraph(words=(title,)),)) for title in ("One", "Two")
    )
    page = Page(document_html(replace(whole_report(), sections=(first, second), lead=())))
    targets = [attributes["id"] for attributes in page.all("h2") if "id" in attributes]
    assert targets == ["contents", "same", "section"]
