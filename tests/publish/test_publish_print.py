"""The print, read back by a parser that knows nothing of how it was made."""

import io
import re
from dataclasses import replace
from itertools import pairwise

import pypdf
import pytest
import typst
from PIL import Image

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
    document_pages,
    document_pdf,
)
from wattproof.publish.print_data import Laid, pieces

A4_PT = (595.3, 841.9)
EDGE_PT = 15 * 72 / 25.4
"""Within this distance of an edge lie the holes of a punch: 12 mm to their middle, 3 mm to their rim."""

STRANGE = '#panic("x") $x$ \\ [a] "q" \'s\' @ref <lab> *b* _i_ `c` // c /* d */ = - + / ~ -- ... \\u{41} #let'
LONG = "supply 14.31 V behind two metres of cable, gain full, filter off, one channel driven, " * 4
HASH = "3fa94c0d17be55aa" * 4


def jpeg(width_px, height_px):
    out = io.BytesIO()
    Image.new("RGB", (width_px, height_px), "sienna").save(out, "JPEG")
    return out.getvalue()


def chart(name, title="Power over time"):
    spec = {
        "$schema": "https://vega.github.io/schema/vega-lite/v6.json",
        "title": {"text": title},
        "description": "A line.",
        "config": {"font": "Source Sans Pro"},
        "width": 560,
        "height": 300,
        "data": {"values": [{"x": 1, "y": 2}, {"x": 2, "y": 3}]},
        "mark": "line",
        "encoding": {"x": {"field": "x", "type": "quantitative"}, "y": {"field": "y", "type": "quantitative"}},
    }
    return Chart(name=name, caption=f"The line of {name} rises to 3 W.", wide=spec, narrow=spec)


def scale(verdict="meets", title="Power, 520 W into 2 ohm"):
    return Scale(
        title=title,
        verdict=verdict,
        quantity="Power",
        unit="W",
        claim=520.0,
        at_least=True,
        measured=Mark(value=531.0, low=520.5, high=541.5),
        low=400.0,
        high=600.0,
        told=("Measured 531 W in ", Link(text="the second ramp", to="row-2"), "."),
        details=("The lead took 0.3 W.",),
    )


def table(rows, *, columns=4, caption="Figures of the day", prefix="row"):
    cells = lambda n: (  # noqa: E731
        (f"{n:02d}-ramp.wav",),
        (Link(text=f"{100 + n}.3 W", to=f"{prefix}-{rows - n}"),),
        (LONG,),
        *((HASH,) for _ in range(columns - 3)),
    )
    heads = (Column(head="Capture"), Column(head="Power", numeric=True), Column(head="Conditions"))
    more = tuple(Column(head=f"SHA-256 {n}") for n in range(columns - 3))
    return Table(
        caption=caption,
        columns=(*heads, *more),
        rows=tuple(Row(cells=cells(n), anchor=f"{prefix}-{n}") for n in range(1, rows)),
        notes=("What stands after ± is 95 %.",),
    )


def report(*sections, **changed):
    given = {
        "title": "Saltmarsh & Daughter Bittern 1",
        "subtitle": "Report of a bench day",
        "language": "en-GB",
        "date": "2031-05-14",
        "generated": "",
        "program": "Wattproof 9.8",
        "lead": (Paragraph(words=("It gave ", Link(text="531 W", to="row-2"), " for a minute.")),),
        "sections": sections,
    }
    return Document(**given | changed)


def section(*blocks, anchor="one", title="Section one", **how):
    return Section(anchor=anchor, title=title, blocks=blocks, **how)


WHOLE = report(
    section(scale(), scale("falls short", "Distortion, 0.1 %"), anchor="ratings", title="Ratings"),
    section(table(6), chart("hold"), chart("sag"), anchor="curves", title="Curves"),
    section(table(40, caption="Every figure", prefix="all"), anchor="all", title="Every figure", appendix=True),
    section(
        Strip(
            title="Where it went",
            parts=(Part(name="Load", share=0.7, text="531 W"), Part(name="Heat", share=0.3, text="228 W")),
            told=("Three tenths were heat.",),
        ),
        Facts(title="Inside", pairs=(("Fuse", ("60 A",)), ("Rail capacitors", ("four of 3300 µF",)))),
        Photo(name="board", caption="The board from above.", jpeg=jpeg(1200, 900), width_px=1200, height_px=900),
        Bullets(title="For", items=(("A quiet fan.",), ("Firm terminals.",))),
        Paragraph(words=("Never leave it running alone.",), tone="caution"),
        Paragraph(words=("The boathouse was cold.",), tone="aside"),
        anchor="inside",
        title="Inside and around",
    ),
)


@pytest.fixture(scope="module")
def pdf():
    return document_pdf(WHOLE)


@pytest.fixture(scope="module")
def read(pdf):
    return pypdf.PdfReader(io.BytesIO(pdf))


def flat(page):
    return re.sub(r"\s+", " ", page.extract_text())


def text_of(reader):
    return re.sub(r"\s+", " ", " ".join(page.extract_text() for page in reader.pages))


@pytest.fixture(scope="module")
def text(read):
    return text_of(read)


def elements(node):
    """Every element of the structure tree, top first."""
    for kid in node.get("/K", []) if isinstance(node.get("/K"), list) else [node.get("/K")]:
        held = kid.get_object() if hasattr(kid, "get_object") else kid
        if isinstance(held, dict) and "/S" in held:
            yield held
            yield from elements(held)


def structure(reader):
    return list(elements(reader.root_object["/StructTreeRoot"]))


def test_every_block_is_in_the_print(text):
    for words in (
        *("Saltmarsh & Daughter Bittern 1", "Report of a bench day", "2031-05-14", "It gave 531 W for a minute."),
        *(
            "Power, 520 W into 2 ohm",
            "meets",
            "falls short",
            "Measured 531 W in the second ramp.",
            "The lead took 0.3 W.",
        ),
        *("Figures of the day", "05-ramp.wav", "105.3 W", "two metres of cable", "What stands after ± is 95 %."),
        *("The line of hold rises to 3 W.", "Power over time", "Where it went", "Three tenths were heat."),
        *("Fuse", "60 A", "four of 3300 µF", "The board from above.", "A quiet fan.", "Firm terminals."),
        *("Never leave it running alone.", "The boathouse was cold.", "39-ramp.wav", "Wattproof 9.8"),
    ):
        assert words in text


def test_what_is_long_wraps_and_keeps_its_letters(text):
    assert HASH in re.sub(r"\s+", "", text)
    assert LONG.strip() in text


def test_appendices_come_last_each_with_that_word(read):
    titles = [entry.title for entry in read.outline if not isinstance(entry, list)]
    assert titles == ["Ratings", "Curves", "Inside and around", "Appendix: Every figure"]


def test_blocks_are_bookmarked_under_their_section(read):
    first, under = read.outline[0], read.outline[1]
    assert first.title == "Ratings"
    assert [entry.title.replace("\xa0", " ") for entry in under] == ["Power, 520 W into 2 ohm", "Distortion, 0.1 %"]


def test_bookmarks_lead_to_the_page_of_their_heading(read):
    for entry in (entry for entry in read.outline if not isinstance(entry, list)):
        page = read.pages[read.get_destination_page_number(entry)]
        assert entry.title in page.extract_text()


def test_it_is_tagged_and_says_so(read):
    assert read.root_object["/MarkInfo"]["/Marked"].value
    kinds = {element["/S"] for element in structure(read)}
    assert {"/H1", "/H2", "/Table", "/TR", "/TH", "/TD", "/L", "/LI", "/Figure", "/Link", "/P", "/Caption"} <= kinds
    assert b"pdfuaid" in read.root_object["/Metadata"].get_object().get_data()


def test_title_language_and_day_are_in_the_file(read):
    assert read.metadata.title == "Saltmarsh & Daughter Bittern 1: Report of a bench day"
    assert read.root_object["/Lang"] == "en-GB"
    assert read.root_object["/ViewerPreferences"]["/DisplayDocTitle"].value
    assert read.metadata.creation_date is None
    dated = pypdf.PdfReader(io.BytesIO(document_pdf(report(generated="2031-05-15T10:20:30"))))
    assert f"{dated.metadata.creation_date:%Y-%m-%d %H:%M:%S}" == "2031-05-15 10:20:30"


def test_every_drawing_and_photograph_has_words_for_who_cannot_see_it(read):
    alts = [element.get("/Alt", "") for element in structure(read) if element["/S"] == "/Figure"]
    drawn = [element for element in alts if element]
    assert len(drawn) == 6
    assert "Power, 520 W into 2 ohm: meets. Measured 531 W in the second ramp." in drawn
    assert "Where it went: Load 531 W; Heat 228 W" in drawn
    assert "The line of hold rises to 3 W." in drawn
    assert "The board from above." in drawn


def test_links_lead_somewhere(read):
    links = [
        annotation.get_object()
        for page in read.pages
        for annotation in page.get("/Annots", [])
        if annotation.get_object()["/Subtype"] == "/Link"
    ]
    assert len(links) > 45
    for link in links:
        assert "/URI" not in link.get("/A", {})
        target = link.get("/Dest") or link["/A"].get_object()["/D"]
        target = target.get_object() if hasattr(target, "get_object") else target
        if isinstance(target, str):
            assert target in read.named_destinations
        else:
            assert target[0].get_object()["/Type"] == "/Page"


def test_a_link_leads_to_its_row(read):
    link = next(
        annotation.get_object()
        for annotation in read.pages[0]["/Annots"]
        if annotation.get_object()["/Subtype"] == "/Link"
    )
    target = link.get("/Dest") or link["/A"].get_object()["/D"]
    target = read.named_destinations[target].dest_array if isinstance(target, str) else target.get_object()
    page = target[0].get_object()
    rows = {}
    page_text = []
    pypdf.PageObject.extract_text(
        page if isinstance(page, pypdf.PageObject) else pypdf.PageObject(read, target[0]),
        visitor_text=lambda text, cm, tm, *_: (
            page_text.append(text),
            rows.setdefault(text.strip(), tm[5] * cm[3] + cm[5]),
        ),
    )
    assert "02-ramp.wav" in rows
    above, below = float(target[3]), rows["02-ramp.wav"]
    assert 0 <= above - below < 25


def test_the_same_document_gives_the_same_bytes(pdf):
    assert document_pdf(WHOLE) == pdf


@pytest.mark.parametrize("columns", [4, 6, 9])
def test_nothing_comes_near_the_edges(columns):
    blocks = (table(9, columns=columns), chart("hold"), Paragraph(words=(HASH * 6,)), scale(title=HASH * 3))
    facts = Facts(title=HASH * 3, pairs=((HASH, (HASH * 3,)),))
    wide = report(section(*blocks, facts, title=HASH * 3), title=HASH * 3, subtitle=HASH * 3)
    for page in document_pages(wide, dots_per_inch=36):
        image = Image.open(io.BytesIO(page)).convert("L")
        assert image.size == pytest.approx([round(side / 2) for side in A4_PT], abs=1)
        left, top, right, bottom = image.point(lambda grey: 255 if grey < 250 else 0).getbbox()
        edge = EDGE_PT / 2
        assert left > edge
        assert top > edge / 2
        assert right < image.width - edge
        assert bottom < image.height - edge / 2


def test_a_long_table_repeats_its_head_on_every_page():
    reader = pypdf.PdfReader(io.BytesIO(document_pdf(report(section(table(60))))))
    holding = [page for page in map(flat, reader.pages) if "-ramp.wav" in page]
    assert len(holding) > 2
    assert all("Conditions" in page for page in holding)


def test_a_row_longer_than_a_page_is_set_whole_over_several():
    cells = (("much",), (" ".join(f"word{number}." for number in range(3000)),))
    long = Table(caption="Long", columns=(Column(head="Name"), Column(head="Words")), rows=(Row(cells=cells),))
    caution = Paragraph(words=(" ".join(f"care{number}." for number in range(2000)),), tone="caution")
    words = text_of(pypdf.PdfReader(io.BytesIO(document_pdf(report(section(long, caution))))))
    assert all(f"word{number}." in words for number in range(3000))
    assert all(f"care{number}." in words for number in range(2000))


def test_no_page_begins_with_the_notes_of_a_table():
    """However many rows there are, the notes stand on the page of the last one."""
    for rows in range(16, 19):
        reader = pypdf.PdfReader(io.BytesIO(document_pdf(report(section(table(rows))))))
        (page,) = (text for text in map(flat, reader.pages) if "What stands after" in text)
        assert f"{rows - 1:02d}-ramp.wav" in page


def test_pages_are_numbered_and_headed(read):
    texts = [flat(page) for page in read.pages]
    assert len(texts) > 3
    for number, words in enumerate(texts, start=1):
        assert f"page {number} of {len(texts)}" in words
        assert "Saltmarsh & Daughter Bittern 1" in words


def test_forty_pages_are_set():
    words = (Paragraph(words=(LONG,)),) * 40
    sections = (section(*words, anchor=f"s{number}", title=f"Section {number}") for number in range(20))
    reader = pypdf.PdfReader(io.BytesIO(document_pdf(report(*sections))))
    assert len(reader.pages) >= 40
    assert len(reader.outline) == 20


def test_a_drawing_is_never_cut_over_two_pages():
    """Every figure's caption stands on the page that holds its picture: as many pictures as captions on each."""
    charts = tuple(chart(f"c{n}", title=f"Title {n} end") for n in range(7))
    reader = pypdf.PdfReader(io.BytesIO(document_pdf(report(section(*charts)))))
    texts = [page.extract_text() for page in reader.pages]
    for number in range(7):
        (page,) = (text for text in texts if f"Title {number} end" in text)
        assert f"The line of c{number} rises" in re.sub(r"\s+", " ", page)


def strange_document():
    words = (STRANGE,)
    photo = Photo(name=STRANGE, caption=STRANGE, jpeg=jpeg(90, 60), width_px=90, height_px=60)
    mark = replace(scale(title=STRANGE), quantity=STRANGE, unit=STRANGE, told=words, details=words)
    strip = Strip(title=STRANGE, parts=(Part(name=STRANGE, share=1.0, text=STRANGE),), told=words)
    columns = (Column(head=STRANGE), Column(head=STRANGE, numeric=True))
    rows = (Row(cells=(words, (Link(text=STRANGE, to=STRANGE),)), anchor=STRANGE),)
    return report(
        section(
            *(Paragraph(words=words, tone=tone) for tone in ("plain", "caution", "aside")),
            Bullets(title=STRANGE, items=(words,)),
            Facts(title=STRANGE, pairs=((STRANGE, words),)),
            Table(caption=STRANGE, columns=columns, rows=rows, notes=words),
            replace(chart(STRANGE), caption=STRANGE),
            mark,
            strip,
            photo,
            anchor=STRANGE,
            title=STRANGE,
        ),
        title=STRANGE,
        subtitle=STRANGE,
        language=STRANGE,
        date=STRANGE,
        generated=STRANGE,
        program=STRANGE,
        lead=(Paragraph(words=words),),
    )


def test_a_strangers_commands_are_set_as_text_everywhere():
    reader = pypdf.PdfReader(io.BytesIO(document_pdf(strange_document())))
    text = re.sub(r"\s+", "", text_of(reader))
    assert text.count(re.sub(r"\s+", "", STRANGE)) >= 26
    assert reader.metadata.title == f"{STRANGE}: {STRANGE}"


def test_a_link_to_nowhere_is_plain_words():
    reader = pypdf.PdfReader(
        io.BytesIO(document_pdf(report(section(Paragraph(words=(Link(text="there", to="gone"),))))))
    )
    assert "there" in text_of(reader)


def test_a_place_named_twice_leads_to_the_first():
    twice = report(section(table(4), table(4)))
    assert pypdf.PdfReader(io.BytesIO(document_pdf(twice))).pages
    places = [row["label"] for block in Laid(twice, drawings={}).data["sections"][0]["blocks"] for row in block["rows"]]
    assert all(places[:3])
    assert not any(places[3:])


@pytest.mark.parametrize(
    "letters", ["Ωμ±≤−°×√ Łódź Žižkov Ελλάδα Чайка", "工房", "🛶", "a\x00b\x07c\ud800", "‮ reversed"]
)
def test_letters_of_any_kind_make_a_file(letters):
    assert pypdf.PdfReader(io.BytesIO(document_pdf(report(title=letters)))).pages


def test_an_empty_document_is_a_page():
    bare = report(title="Bittern 1", subtitle="", date="", program="", lead=())
    assert len(pypdf.PdfReader(io.BytesIO(document_pdf(bare))).pages) == 1


def test_headings_never_skip_a_level(read):
    levels = [int(element["/S"][2:]) for element in structure(read) if re.fullmatch("/H[1-6]", element["/S"])]
    assert levels[0] == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))


def test_pieces_add_no_letter_and_leave_short_words():
    assert pieces("of a ramp") == ["of a ramp"]
    assert "".join(pieces(f"see {HASH} there")) == f"see {HASH} there"
    assert max(map(len, pieces(f"see {HASH} there"))) < 20
    assert pieces("") == [""]


def test_without_the_package_of_the_font_the_machine_s_own_stand_in(monkeypatch):
    monkeypatch.setattr("wattproof.publish.print.font_folder", lambda: None)
    assert "It gave 531 W for a minute." in text_of(pypdf.PdfReader(io.BytesIO(document_pdf(report()))))


def test_the_house_s_font_is_in_the_file(read):
    names = {
        font.get_object()["/BaseFont"] for page in read.pages for font in page["/Resources"].get("/Font", {}).values()
    }
    assert any("SourceSansPro" in name for name in names)
    assert not any("Libertinus" in name for name in names)


def test_a_fault_of_the_typesetter_is_not_taken_for_a_missing_letter():
    broken = Photo(name="board", caption="No photograph.", jpeg=b"no photograph", width_px=9, height_px=9)
    with pytest.raises(typst.TypstError):
        document_pdf(report(section(broken)))
