"""Pictures of made-up sessions: size, ground, letters, margins, contrast and words, read back from what is drawn."""

import re
from io import BytesIO
from itertools import combinations
from xml.etree import ElementTree

import numpy as np
import pytest

from wattproof.amplifier import Amplifier
from wattproof.bench import Bench
from wattproof.errors import UsageError
from wattproof.fit import Asked, Estimate, Prediction
from wattproof.judge import judge
from wattproof.measure import CaptureResult, CurvePoint, Figure
from wattproof.publish import (
    Foreseen,
    Look,
    PublishedSession,
    chosen_pictures,
    draw_picture,
    picture_bytes,
    session_pictures,
)
from wattproof.publish.picture_type import folded, shrunk, text_width_px
from wattproof.report import PAPER, SERIES

SHAPES = {"wide": (1920, 1080), "tall": (1080, 1920), "square": (1080, 1080)}
RATINGS = [
    {"quantity": "power", "value": 48, "unit": "W", "load_ohm": 4, "supply_v": 14.4, "thd_percent": 1},
    {"quantity": "power", "value": 90, "unit": "W", "load_ohm": 2, "supply_v": 14.4, "thd_percent": 1},
    {"quantity": "power", "value": 400, "unit": "W", "note": "printed as MAX on the lid in letters of gold"},
    {"quantity": "idle_current", "value": 0.9, "unit": "A", "supply_v": 14.4},
    {"quantity": "snr", "value": 92, "unit": "dB"},
]


def figure(name, value, unit, u=0.002, output="A", **conditions):
    return Figure(
        name=name,
        value=value,
        u=abs(u * value),
        unit=unit,
        k95=2.0,
        output=output,
        origin="made",
        conditions=conditions,
    )


def ramp(load_ohm, outputs):
    """A level rising by a fifth of itself each frame, with 1 % distortion at 14.0 V rms; supply 14.4 V."""
    volts = 0.4 * 1.2 ** np.arange(22)
    curve = []
    for output in outputs:
        for n, v in enumerate(volts):
            power = float(v * v / load_ohm)
            drawn = 15.0 + 1.2 * power * len(outputs)
            curve.append(
                CurvePoint(
                    t_s=0.1 * n, output=output, load_power=power, thd_n=float(0.0005 + 0.01 * (v / 14.0) ** 8),
                    supply_voltage=14.4 - drawn / 3000, supply_current=drawn / 14.4, supply_power=drawn,
                    efficiency=power * len(outputs) / drawn,
                )
            )  # fmt: skip
    load = 14.0**2 / load_ohm
    at = {"load_ohm": load_ohm, "supply_v": 14.4, "frequency_hz": 47.0, "thd_n": 0.01, "thd_basis": "total"}
    figures = [figure("power_at_thd_1", load * (1 + 0.01 * n), "W", output=o, **at) for n, o in enumerate(outputs)]
    total = sum(f.value for f in figures)
    figures += [figure("supply_power", 1.25 * total, "W", output=None, **at)]
    figures += [figure("heat", 0.25 * total, "W", output=None, **at)]
    figures += [figure("efficiency", 0.8, "W/W", output=None, **at)]
    return CaptureResult(file=f"ramp-{load_ohm:g}-ohm.wav", kind="ramp", figures=tuple(figures), curve=tuple(curve))


def hold(load_ohm, outputs):
    load = 14.0**2 / load_ohm
    curve = tuple(
        CurvePoint(
            t_s=n + 0.5, output=o, load_power=load - 0.01 * n, thd_n=0.01, supply_voltage=14.3, temperature=294.0 + n
        )
        for o in outputs
        for n in range(20)
    )
    at = {"load_ohm": load_ohm, "supply_v": 14.3, "frequency_hz": 47.0}
    figures = tuple(
        figure("sustained_power", load - 0.01 * s, "W", output=o, at_s=float(s), **at)
        for o in outputs
        for s in (1, 5, 10, 15)
    )
    return CaptureResult(file=f"hold-{load_ohm:g}-ohm.wav", kind="hold", figures=figures, curve=curve)


def burst(load_ohm):
    at = {"load_ohm": load_ohm, "supply_v": 14.2, "frequency_hz": 47.0}
    figures = (figure("burst_power", 60.0, "W", **at), figure("burst_duration", 0.17, "s", **at))
    return CaptureResult(file="bursts.wav", kind="burst", figures=figures)


def idle():
    figures = (
        figure("idle_current", 1.0, "A", output=None, supply_v=14.4),
        figure("supply_power", 14.4, "W", output=None, supply_v=14.4),
        figure("supply_voltage", 14.4, "V", output=None),
        figure("noise_rms_a", 1.4e-4, "V", weighting="A"),
    )
    return CaptureResult(file="idle.wav", kind="idle", figures=figures)


def foreseen(load_ohm):
    watts = 260.0 / (load_ohm + 0.3)

    def estimate(value, unit):
        return Estimate(value=value, u=0.01 * value, low=0.97 * value, high=1.02 * value, unit=unit)

    volts = estimate((watts * load_ohm) ** 0.5, "V")
    prediction = Prediction(
        asked=Asked(load_ohm=load_ohm, supply_v=14.4), power=estimate(watts, "W"), load_voltage=volts,
        load_current=estimate(watts / volts.value, "A"), supply_voltage=estimate(14.4, "V"), basis="within",
    )  # fmt: skip
    return Foreseen(load_ohm=load_ohm, supply_v=14.4, prediction=prediction)


def session(*, outputs=("A",), maker="Reed & Marten", model="Otter 4", judged=True):
    amplifier = Amplifier.model_validate(
        {"maker": maker, "model": model, "outputs": outputs, "ratings": RATINGS if judged else []}
    )
    results = [idle(), ramp(4.03, outputs), hold(4.03, outputs)]
    results += [ramp(2.01, outputs), hold(2.01, outputs), burst(4.03)] if len(outputs) == 1 else []
    table = tuple(foreseen(load) for load in (8.0, 4.0, 2.67, 2.0)) if len(outputs) == 1 else ()
    return PublishedSession(
        session="2031-05-14-otter-4-0000",
        day="2031-05-14",
        amplifier=amplifier,
        bench=Bench(name="Boathouse bench"),
        results=tuple(results),
        judged=judge(amplifier, results) if judged else None,
        foreseen=table,
        curve=tuple(one.prediction for one in reversed(table)),
    )


ONE, FOUR = session(), session(outputs=("A", "B", "C", "D"), maker="Kingfisher & Great Crested Grebe Electrical Works")
CARDS = ("power", "verdicts", "strip", "how-long", "other-loads")


def pictures(inputs):
    return {one.name: one for one in session_pictures(inputs)}


def is_card(name):
    return name in CARDS


def texts(svg):
    """Every text of a drawing: words, box (left, top, right, bottom) in px, size, colour; halos left out."""
    found = []

    def walk(part, x, y, scale):
        for name, numbers in re.findall(r"(translate|scale)\(([^)]*)\)", part.get("transform", "")):
            values = [float(n) for n in re.split(r"[ ,]+", numbers.strip())]
            if name == "translate":
                x, y = x + scale * values[0], y + scale * values[1]
            else:
                scale *= values[0]
        assert "rotate" not in part.get("transform", "")
        if part.tag.endswith("}text") and part.text and part.get("stroke") is None:
            size = scale * float(part.get("font-size").removesuffix("px"))
            weight = {"400": 400, "normal": 400, "600": 600, "700": 700}[part.get("font-weight", "400")]
            wide = text_width_px(part.text, size_px=size, weight=weight)
            left = (
                x + scale * float(part.get("x", 0)) - {"middle": wide / 2, "end": wide}.get(part.get("text-anchor"), 0)
            )
            base = y + scale * float(part.get("y", 0))
            found.append((part.text, (left, base - 0.7 * size, left + wide, base + 0.2 * size), size, part.get("fill")))
        for child in part:
            walk(child, x, y, scale)

    walk(ElementTree.fromstring(svg), 0.0, 0.0, 1.0)
    return found


def luminance(colour):
    shares = np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    return float(np.dot([0.2126, 0.7152, 0.0722], linear(shares)))


def linear(shares):
    return np.where(shares <= 0.04045, shares / 12.92, ((shares + 0.055) / 1.055) ** 2.4)


def contrast(first, second):
    dark, light = sorted((luminance(first), luminance(second)))
    return (light + 0.05) / (dark + 0.05)


def pixels(svg):
    from PIL import Image

    return np.asarray(Image.open(BytesIO(picture_bytes(svg, form="png"))).convert("RGBA")).astype(int)


def assert_sound(svg, shape, paper):
    """No letter is small, none lies outside the safe margin, no two texts touch, all stand out of their ground."""
    width, height = SHAPES[shape]
    ground = PAPER.dark if "dark" in paper else PAPER.light
    read = texts(svg)
    assert len(read) > 5
    for words, (left, top, right, bottom), size, colour in read:
        assert size >= height / 36 - 0.01, words
        assert 0.05 * width - 0.5 <= left, words
        assert right <= 0.95 * width + 0.5, words
        assert 0.05 * height - 0.5 <= top, words
        assert bottom <= 0.95 * height + 0.5, words
        assert contrast(colour, ground) >= 4.5, (words, colour)
    for (one, a, *_), (other, b, *_) in combinations(read, 2):
        apart = a[2] <= b[0] + 0.5 or b[2] <= a[0] + 0.5 or a[3] <= b[1] + 0.5 or b[3] <= a[1] + 0.5
        assert apart, (one, other)


@pytest.mark.parametrize("paper", ["light", "none-dark"])
@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("inputs", [ONE, FOUR], ids=["one output", "four outputs"])
def test_every_card_is_sound(inputs, shape, paper):
    drawn = [one for name, one in pictures(inputs).items() if is_card(name)]
    assert len(drawn) >= 4
    for picture in drawn:
        for page in draw_picture(picture, Look(shape=shape, paper=paper)):
            assert_sound(page, shape, paper)


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("inputs", [ONE, FOUR], ids=["one output", "four outputs"])
def test_every_chart_is_sound(inputs, shape):
    drawn = [one for name, one in pictures(inputs).items() if name in {"distortion", "supply", "hold-1"}]
    assert len(drawn) == 3
    for picture in drawn:
        for page in draw_picture(picture, Look(shape=shape, paper="dark")):
            assert_sound(page, shape, "dark")


def test_the_check_of_letters_sees_a_breach():
    page = draw_picture(pictures(ONE)["power"], Look())[0]
    near = re.sub(r'x="96"', 'x="60"', page, count=1)
    small = re.sub(r'font-size="30px"', 'font-size="29px"', page, count=1)
    faint = page.replace('fill="#1e2b36"', 'fill="#9a9a9a"')
    twice = re.sub(r"(<text.*?</text>)", r"\1\n\1", page, count=1)
    for broken in (near, small, faint, twice):
        assert broken != page
        with pytest.raises(AssertionError):
            assert_sound(broken, "wide", "light")


@pytest.mark.parametrize(
    ("shape", "paper"), [("wide", "light"), ("tall", "dark"), ("square", "none"), ("wide", "none-dark")]
)
def test_it_has_as_many_pixels_as_asked_and_nothing_but_paper_in_the_margin(shape, paper):
    image = pixels(draw_picture(pictures(ONE)["verdicts"], Look(shape=shape, paper=paper))[0])
    width, height = SHAPES[shape]
    assert image.shape == (height, width, 4)
    safe = np.zeros((height, width), dtype=bool)
    safe[round(0.05 * height) - 2 : round(0.95 * height) + 2, round(0.05 * width) - 2 : round(0.95 * width) + 2] = True
    margin, inside = image[~safe], image[safe]
    if paper.startswith("none"):
        assert margin[:, 3].max() == 0
        assert inside[:, 3].max() == 255
        assert 0.3 < (inside[:, 3] == 0).mean() < 0.99
    else:
        ground = PAPER.dark if paper == "dark" else PAPER.light
        assert (margin == [int(ground[i : i + 2], 16) for i in (1, 3, 5)] + [255]).all()
        assert (inside[:, :3] != margin[0, :3]).any(axis=1).mean() > 0.02


def test_a_clear_chart_has_no_paper_behind_its_names():
    picture = pictures(ONE)["distortion"]
    for paper, ground in (("none", PAPER.light), ("none-dark", PAPER.dark)):
        page = draw_picture(picture, Look(paper=paper))[0]
        assert ground not in page
        assert ground in draw_picture(picture, Look(paper="dark" if "dark" in paper else "light"))[0]


def test_dark_paper_takes_no_light_colour_along():
    page = draw_picture(pictures(FOUR)["distortion"], Look(paper="dark"))[0]
    assert not [shade.light for shade in (PAPER, *SERIES) if shade.light in page]
    assert SERIES[3].dark in page


SEEN_BY = {  # Machado, Oliveira and Fernandes 2009, severity 1: what is left of linear red, green and blue
    "protan": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "deutan": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
}
TO_XYZ = np.array(
    [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]]
)


def lab(light):
    """CIE L*a*b* of linear sRGB under D65."""
    v = TO_XYZ @ np.clip(light, 0, 1) / np.array([0.95047, 1.0, 1.08883])
    f = np.where(v > 216 / 24389, np.cbrt(v), (24389 / 27 * v + 16) / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


@pytest.mark.parametrize("side", ["light", "dark"])
@pytest.mark.parametrize("eyes", SEEN_BY)
def test_lines_differ_in_colour_also_for_those_who_see_two_primaries(eyes, side):
    colours = [np.array([int(getattr(s, side)[i : i + 2], 16) / 255 for i in (1, 3, 5)]) for s in SERIES]
    seen = [lab(np.array(SEEN_BY[eyes]) @ linear(colour)) for colour in colours]
    # 2.3 is the least that is seen at all side by side; five times that is told apart at a glance
    assert min(float(np.linalg.norm(a - b)) for a, b in combinations(seen, 2)) > 5 * 2.3
    # verdicts and heat against load use the first three only: these are far apart
    assert min(float(np.linalg.norm(a - b)) for a, b in combinations(seen[:3], 2)) > 10 * 2.3


@pytest.mark.parametrize("form", ["svg", "png", "pdf"])
def test_the_same_picture_gives_the_same_bytes(form):
    made = {
        tuple(picture_bytes(page, form=form) for page in draw_picture(pictures(session())[name], Look(shape="square")))
        for _ in range(2)
        for name in ("strip",)
    }
    assert len(made) == 1
    content = next(iter(made))[0]
    assert content.startswith({"svg": b"<svg", "png": b"\x89PNG", "pdf": b"%PDF"}[form])


def test_a_pdf_is_as_wide_as_its_picture_and_holds_words():
    from pypdf import PdfReader

    page = PdfReader(BytesIO(picture_bytes(draw_picture(pictures(ONE)["power"], Look())[0], form="pdf"))).pages[0]
    assert float(page.mediabox.width) / float(page.mediabox.height) == pytest.approx(16 / 9)
    assert "Power at 1 % distortion" in page.extract_text().replace("\N{NO-BREAK SPACE}", " ")


def test_a_name_that_is_none_is_refused_with_those_that_there_are_and_the_hint_cures_it():
    there = session_pictures(ONE)
    with pytest.raises(UsageError) as refused:
        chosen_pictures(there, (there[1].name[:-1],))
    assert all(one.name in refused.value.why for one in there)
    named = re.search(r"^Write (\S+)\.$", refused.value.hint)[1]
    assert named == there[1].name
    assert [one.name for one in chosen_pictures(there, (named, named))] == [named]
    with pytest.raises(UsageError) as far:
        chosen_pictures(there, ("kingfisher",))
    assert f"such as {there[0].name}" in far.value.hint
    assert chosen_pictures(there, ("all",)) == there
    assert chosen_pictures(there, ()) == ()


def test_names_are_unlike_and_fit_into_a_file_name():
    names = [one.name for one in session_pictures(ONE)]
    assert len(set(names)) == len(names)
    assert all(re.fullmatch(r"[a-z0-9-]+", name) for name in names)
    assert set(CARDS) <= set(names)


@pytest.mark.parametrize("width", [90.0, 300.0, 1000.0])
def test_folded_text_keeps_to_its_width_and_loses_no_word_that_fits(width):
    said = "falls short under 2 of 4 readings, meets under 2 of 4 readings at 14.4 V and 52.48 ± 0.23 W"
    lines = folded(said, width_px=width, size_px=30)
    assert all(text_width_px(line, size_px=30) <= width for line in lines)
    if width >= 300:
        assert " ".join(lines).replace("\N{NO-BREAK SPACE}", " ") == said
        assert not any(line.endswith(("±", "14.4", "0.23")) for line in lines)
    assert len(folded(said, width_px=width, size_px=30, most=2)) <= 2
    size, short = shrunk(said, width_px=width, sizes_px=(30, 20, 10), lines=1)
    assert size == 10 or len(short) == 1
    assert all(text_width_px(line, size_px=size) <= width for line in short)
