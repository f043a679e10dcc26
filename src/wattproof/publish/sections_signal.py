"""What the signal looks like at its limit: spectrum and waveform of each load."""

import re

from wattproof.measure import CaptureResult
from wattproof.publish.document import Block, Paragraph
from wattproof.publish.drawn import chart
from wattproof.publish.inputs import PublishedSession
from wattproof.publish.places import Places, load_text
from wattproof.publish.wording import SIGNAL
from wattproof.report import limit_percent, spectrum, waveform_at_limit

_KINDS = ("ramp", "steady", "hold")
_SPAN = re.compile(r"([\d.]+)-([\d.]+) s$")


def signal_blocks(inputs: PublishedSession, _places: Places) -> tuple[Block, ...]:
    """Give waveforms and spectra of the ramps; of steady tones where no ramp keeps any."""
    for kind in _KINDS:
        found = [result for result in inputs.results if result.kind == kind]
        charts = [block for number, result in enumerate(found, start=1) for block in _charts(result, number)]
        if charts:
            return tuple(charts)
    return (Paragraph(words=(SIGNAL["none"],)),)


def _charts(result: CaptureResult, count: int) -> tuple[Block, ...]:
    load = load_text(next((figure for figure in result.figures if "load_ohm" in figure.conditions), None))
    said = {"file": result.file, "load": f", {load}" if load else "", "at": _moment(result)}
    return (
        *chart(
            f"waveform-{count}", SIGNAL["waveform"].format(**said), lambda px: waveform_at_limit(result, width_px=px)
        ),
        *chart(f"spectrum-{count}", SIGNAL["spectrum"].format(**said), lambda px: spectrum(result, width_px=px)),
    )


def _moment(result: CaptureResult) -> str:
    """Say around which moment the waveform was recorded, and which limit of distortion is reached there."""
    times = [time for trace in result.views.waveform[:1] for time in (trace.x[0], trace.x[-1])]
    if result.kind != "ramp" or not times:
        return ""
    middle_s = sum(times) / 2
    for figure in result.figures:
        limit, span = limit_percent(figure.name), _SPAN.search(figure.origin)
        if limit is not None and span and float(span[1]) <= middle_s <= float(span[2]):
            return SIGNAL["at_limit"].format(time=f"{middle_s:.2f} s", limit=f"{limit:g} %")
    return SIGNAL["at"].format(time=f"{middle_s:.2f} s")
