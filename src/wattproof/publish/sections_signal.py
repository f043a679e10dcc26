"""What the signal looks like at its limit: spectrum and waveform of each load."""

from wattproof.measure import CaptureResult
from wattproof.publish.document import Block, Paragraph
from wattproof.publish.drawn import chart
from wattproof.publish.inputs import PublishedSession
from wattproof.publish.places import Places, load_text
from wattproof.publish.wording import SIGNAL
from wattproof.report import limit_percent, spectrum, waveform_at_limit

_KINDS = ("ramp", "steady", "hold")


def signal_blocks(inputs: PublishedSession, _places: Places) -> tuple[Block, ...]:
    """Give waveforms and spectra of the ramps; of steady tones where no ramp keeps any."""
    for kind in _KINDS:
        found = [result for result in inputs.results if result.kind == kind]
        charts = [block for number, result in enumerate(found, start=1) for block in _charts(result, number)]
        if charts:
            return tuple(charts)
    return (Paragraph(words=(SIGNAL["none"],)),)


def _charts(result: CaptureResult, count: int) -> tuple[Block, ...]:
    limited = any(limit_percent(figure.name) is not None for figure in result.figures)
    at = SIGNAL["at_limit"] if limited else ""
    load = load_text(next((figure for figure in result.figures if "load_ohm" in figure.conditions), None))
    into = f", {load}" if load else ""
    waveform = SIGNAL["waveform"].format(file=result.file, load=load, at=at)
    lines = SIGNAL["spectrum"].format(file=result.file, load=into, at=at)
    return (
        *chart(f"waveform-{count}", waveform, lambda px: waveform_at_limit(result, width_px=px)),
        *chart(f"spectrum-{count}", lines, lambda px: spectrum(result, width_px=px)),
    )
