"""The post, read back by a Markdown parser: what a stranger wrote comes out as the words they wrote."""

import re
from html import unescape
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from markdown_it import MarkdownIt

from wattproof.publish import (
    Bullets,
    Chart,
    Column,
    Document,
    Facts,
    Link,
    Mark,
    Paragraph,
    Part,
    Photo,
    Row,
    Scale,
    Section,
    Strip,
    Table,
    document_markdown,
)
from wattproof.publish.post import escaped
from wattproof.publish.print_data import cleaned

PARSER = MarkdownIt("commonmark", {"html": True}).enable(["table", "strikethrough"])
STRANGE = (
    "1. # - + > | a|b <script>alert(1)</script> *b* _i_ __u__ `c` ~~d~~ [l](http://x.example) ![p](p) &lt; $m$ \\ \\| "
    "http://x.example www.x.example a@x.example @all #12 ^up^ :--- --- ==="
)
SIGNS = "\\`*_{}[]<>()#+-.!|~$&@^=:;/\"' \n\tab1é"


def document(*sections, **changed):
    given_ = {
        "title": "Saltmarsh & Daughter Bittern_1",
        "subtitle": "Report of a bench day",
        "language": "en",
        "date": "2031-05-14",
        "generated": "2031-05-15T10:20:30",
        "program": "Wattproof 9.8",
        "lead": (Paragraph(words=("It gave ", Link(text="531 ± 11 W", to="row-1"), " into 2.01 ohm.")),),
        "sections": sections,
    }
    return Document(**given_ | changed)


def scale(words):
    return Scale(
        title=words,
        verdict="cannot tell",
        quantity=words,
        unit=words,
        claim=520.0,
        at_least=True,
        measured=Mark(value=531.0, low=511.0, high=551.0),
        low=400.0,
        high=600.0,
        told=("It gave ", Link(text=words, to="row-1"), "; the chance that it reaches 520 W is 86 %."),
        details=(words, "The lead took 0.3 W."),
    )


def every_block(words):
    """A document with a block of every kind, each field of which says `words`."""
    columns = (Column(head=words), Column(head=words, numeric=True), Column(head=words))
    rows = tuple(
        Row(anchor=f"row-{n}", cells=((words,), (Link(text=words, to="row-1"),), ("as ", words))) for n in (1, 2)
    )
    return document(
        Section(
            anchor="all",
            title=words,
            appendix=True,
            blocks=(Table(caption=words, columns=columns, rows=rows, notes=(words, words)),),
        ),
        Section(
            anchor="one",
            title=words,
            blocks=(
                *(Paragraph(words=(words,), tone=tone) for tone in ("plain", "caution", "aside")),
                Bullets(title=words, items=((words,), ("so ", words))),
                Facts(title=words, pairs=((words, (words,)),)),
                Chart(name=words, caption=words, wide={}, narrow={}),
                scale(words),
                Strip(
                    title=words,
                    parts=(Part(name=words, share=0.7, text="531 W"), Part(name="Heat", share=0.3, text=words)),
                    told=(words,),
                ),
                Photo(name=words, caption=words, jpeg=b"", width_px=1, height_px=1),
            ),
        ),
    )


def test_every_block_as_a_post(snapshot):
    assert document_markdown(every_block("four 3300 µF capacitors")) == snapshot


def test_a_strangers_signs_as_a_post(snapshot):
    assert document_markdown(every_block(STRANGE)) == snapshot


def tags(markdown):
    return re.findall(r"<(\w+)", PARSER.render(markdown))


def words_of(html):
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", "", html))).strip()


def test_a_strangers_signs_make_nothing_but_text():
    plain, strange = (tags(document_markdown(every_block(words))) for words in ("plain", STRANGE))
    assert strange == plain
    assert not {"script", "a", "img", "code", "em", "s", "hr", "pre"} & set(strange)
    assert words_of(PARSER.render(document_markdown(every_block(STRANGE)))).count(cleaned(STRANGE)) >= 28


@settings(max_examples=50, deadline=None)
@given(st.text(alphabet=SIGNS, max_size=40).filter(str.strip))
def test_any_signs_come_back_as_written_from_a_paragraph_a_heading_a_list_and_a_cell(text):
    told = cleaned(text).strip()
    for wrap in ("{}", "## {}", "- {}", "> **Caution.** {}", "| a | b |\n|---|---|\n| x | {} |"):
        html = PARSER.render(wrap.format(escaped(text)))
        assert words_of(html).endswith(re.sub(r"\s+", " ", told))
        assert set(re.findall(r"<(\w+)", html)) == set(re.findall(r"<(\w+)", PARSER.render(wrap.format("w"))))


@pytest.mark.parametrize("address", ["http://x.example", "HTTPS://x.example", "ftp://x.example", "www.x.example"])
def test_an_address_is_not_turned_into_a_link_by_forums_that_look_for_them(address):
    assert not re.search(r"\w://|www\.", escaped(f"see {address}"), re.IGNORECASE)
    assert words_of(PARSER.render(escaped(address))) == address


@pytest.mark.parametrize("words", ["plain", STRANGE, "a\nb|c\r\nd", "", "|"])
def test_every_row_of_a_table_has_its_columns(words):
    lines = document_markdown(every_block(words)).splitlines()
    rows = [re.split(r"(?<!\\)(?:\\\\)*\|", line) for line in lines if line.startswith("|")]
    assert len(rows) == 4
    assert {len(row) for row in rows} == {5}
    html = PARSER.render("\n".join(lines))
    assert (html.count("<th"), html.count("<td")) == (3 + 1, 6)


def test_numbers_stand_to_the_right():
    assert '<th style="text-align:right">' in PARSER.render(document_markdown(every_block("x")))


def test_one_heading_of_the_first_rank_and_none_skipped():
    ranks = [int(rank) for rank in re.findall(r"<h(\d)", PARSER.render(document_markdown(every_block("x"))))]
    assert ranks.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(ranks))


def test_appendices_come_last_and_may_be_left_out():
    whole = document_markdown(every_block("x"))
    short = document_markdown(every_block("x"), appendix=False)
    assert whole.index("## x") < whole.index("## Appendix: x")
    assert "Appendix" not in short
    assert "|" not in short


def test_what_is_not_said_leaves_no_trace():
    bare = document(title="Bittern 1", subtitle="", date="", generated="", program="", lead=())
    assert document_markdown(bare) == "# Bittern 1\n"
