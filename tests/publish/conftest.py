"""A report with every kind of block, for the tests of what is published."""

from collections.abc import Callable
from io import BytesIO

import numpy as np
import pytest

from wattproof.measure import CaptureResult, CurvePoint, Figure
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
)
from wattproof.report import distortion_against_power, supply_sag


@pytest.fixture(scope="session")
def browser(chromium):
    return chromium


def ramp(file: str, load_ohm: float) -> CaptureResult:
    """A rising level into a load from a supply of 14.4 V behind 12.5 milliohm, distorting past 13 V."""
    volts = np.geomspace(0.4, 22.47, 40)  # ends at 126.225 W, which a chart rounds up
    power = volts**2 / load_ohm
    amps = (12.0 + 1.2 * power) / 14.4
    curve = tuple(
        CurvePoint(
            t_s=0.1 * index,
            output="A",
            load_power=float(p),
            thd_n=float(0.0004 + 0.02 * max(v - 13.0, 0.0)),
            supply_voltage=float(14.4 - 0.0125 * i),
            supply_current=float(i),
        )
        for index, (v, p, i) in enumerate(zip(volts, power, amps, strict=True))
    )
    limit = Figure(
        name="power_at_thd_1",
        value=45.6,
        u=0.2,
        unit="W",
        k95=2.0,
        output="A",
        origin=f"{file} 1.62-1.71 s",
        conditions={"load_ohm": load_ohm},
    )
    return CaptureResult(file=file, kind="ramp", figures=(limit,), curve=curve)


def charts(first: str, second: str) -> tuple[Chart, Chart]:
    """Two charts of two ramps that are told apart by these names."""
    results = [ramp(first, 4.0), ramp(second, 4.0)]
    made = []
    for name, draw in (("distortion", distortion_against_power), ("sag", supply_sag)):
        wide, narrow = draw(results, width_px=640), draw(results, width_px=340)
        assert wide is not None
        assert narrow is not None
        made.append(Chart(name=name, caption=wide["description"], wide=wide, narrow=narrow))
    return made[0], made[1]


def photograph() -> Photo:
    from PIL import Image

    file = BytesIO()
    Image.linear_gradient("L").resize((96, 64)).convert("RGB").save(file, "JPEG")
    return Photo(name="board.jpg", caption="The board from above", jpeg=file.getvalue(), width_px=96, height_px=64)


def report_of(say: Callable[[str], str] = str) -> Document:
    """A report with every kind of block; `say` may put other words for those that strangers write."""

    def words(text):
        return (say(text),)

    scales = (
        Scale(
            title=say("520 W into 2 ohm at 14.4 V"),
            verdict="falls short",
            quantity=say("Power in the load"),
            unit="W",
            claim=520.0,
            at_least=True,
            measured=Mark(value=498.3, low=489.1, high=507.5),
            low=440.0,
            high=560.0,
            told=(say("Measured 498.3 ± 9.2 W in "), Link(text=say("03-ramp.wav"), to=say("capture-3")), "."),
            details=words("Corrected from 13.92 V: +2.1 %."),
        ),
        Scale(
            title=say("THD+N at most 0.02 %"),
            verdict="cannot tell",
            quantity="THD+N",
            unit="%",
            claim=0.02,
            at_least=False,
            measured=Mark(value=0.0195, low=0.0181, high=0.0209),
            low=0.01,
            high=0.05,
            log=True,
        ),
        Scale(
            title=say("Damping factor 200"),
            verdict="meets",
            quantity=say("Damping factor"),
            unit="",
            claim=200.0,
            at_least=True,
            measured=Mark(value=260.0, low=251.0, high=269.0),
            low=150.0,
            high=300.0,
        ),
    )
    table = Table(
        caption=say("Power in the load"),
        columns=(Column(head=say("Limit")), Column(head=say("Power"), numeric=True), Column(head=say("Capture"))),
        rows=(
            Row(cells=(words("1 %"), words("498.3 ± 9.2 W"), (Link(text=say("04-ramp.wav"), to=say("capture-4")),))),
            Row(anchor=say("power-10"), cells=(words("10 %"), words("-12.0 W"), words("none"))),
        ),
        notes=words("As measured."),
    )
    captures = Table(
        caption=say("Captures"),
        columns=(Column(head="File"), Column(head="Seconds", numeric=True)),
        rows=tuple(
            Row(anchor=say(f"capture-{number}"), cells=(words(f"0{number}-ramp.wav"), ("18.7",))) for number in (3, 4)
        ),
    )
    strip = Strip(
        title=say("At 1 %"),
        parts=(Part(name=say("load"), share=0.73, text="498 W"), Part(name=say("heat"), share=0.27, text="184 W")),
        told=words("Of 682 W from the supply, 73 % reach the load."),
    )
    remarks = (
        Bullets(title=say("In favour"), items=(words("Terminals take 25 mm²."), words("The fan starts late."))),
        Facts(title=say("Counted"), pairs=((say("Rail capacitors"), words("4 of 3300 µF")),)),
    )
    photo = photograph()
    return Document(
        title=say("Saltmarsh & Daughter Bittern 1"),
        subtitle=say("Report of bittern-1"),
        language="en",
        date=say("2031-05-14"),
        generated="",
        program=say("a program of 2031"),
        lead=(Paragraph(words=(say("It gave 498.3 W. "), Link(text=say("It falls short."), to="ratings"))),),
        sections=(
            Section(
                anchor="captures",
                title=say("Captures"),
                appendix=True,
                blocks=(captures, Paragraph(words=words("End."))),
            ),
            Section(
                anchor="ratings",
                title=say("Ratings"),
                blocks=(
                    Paragraph(words=words("Never ground a bridged output."), tone="caution"),
                    Paragraph(words=words("± is half a 95 % interval."), tone="aside"),
                    *scales,
                ),
            ),
            Section(anchor="power", title=say("Power"), blocks=(table, strip, strip)),
            Section(anchor="curves", title=say("Curves"), blocks=charts(say("03-ramp.wav"), say("04-ramp.wav"))),
            Section(
                anchor=say("seen"),
                title=say("Seen inside"),
                blocks=(
                    *remarks,
                    Photo(
                        name=say(photo.name),
                        caption=say(photo.caption),
                        jpeg=photo.jpeg,
                        width_px=photo.width_px,
                        height_px=photo.height_px,
                    ),
                ),
            ),
            Section(
                anchor="method",
                title=say("Method"),
                appendix=True,
                blocks=(Paragraph(words=(Link(text=say("nowhere"), to="no-such-place"),)),),
            ),
        ),
    )


@pytest.fixture(scope="session")
def whole_report() -> Callable[..., Document]:
    """Makes a report with every kind of block."""
    return report_of
