"""A session's report: what stands in it, and in which order."""

from collections.abc import Callable, Mapping
from types import MappingProxyType

from wattproof import __version__
from wattproof.publish.document import Block, Document, Section
from wattproof.publish.inputs import PublishedSession
from wattproof.publish.lead import lead
from wattproof.publish.places import Places
from wattproof.publish.sections_appendix import capture_blocks, caution_blocks, figure_blocks
from wattproof.publish.sections_conditions import bench_blocks, conditions_blocks
from wattproof.publish.sections_model import model_blocks
from wattproof.publish.sections_power import distortion_blocks, power_blocks
from wattproof.publish.sections_ratings import ratings_blocks
from wattproof.publish.sections_seen import inside_blocks, opinion_blocks
from wattproof.publish.sections_signal import signal_blocks
from wattproof.publish.sections_supply import supply_blocks
from wattproof.publish.sections_time import burst_blocks, hold_blocks
from wattproof.publish.wording import APPENDIX, LANGUAGE, SECTIONS, TITLES

Writer = Callable[[PublishedSession, Places], tuple[Block, ...]]

_WRITERS: Mapping[str, Writer] = MappingProxyType(
    {
        "ratings": ratings_blocks,
        "power": power_blocks,
        "distortion": distortion_blocks,
        "supply": supply_blocks,
        "holds": hold_blocks,
        "bursts": burst_blocks,
        "signal": signal_blocks,
        "model": model_blocks,
        "inside": inside_blocks,
        "opinion": opinion_blocks,
        "conditions": conditions_blocks,
        "bench": bench_blocks,
    }
)
_APPENDICES: Mapping[str, Writer] = MappingProxyType(
    {"figures": figure_blocks, "captures": capture_blocks, "cautions": caution_blocks}
)


def session_document(inputs: PublishedSession) -> Document:
    """Write the report of a session.

    Parameters
    ----------
    inputs : PublishedSession
        Everything that it tells.

    Returns
    -------
    Document
        Equal inputs give an equal document; a section that has nothing to say is left out, or says in a sentence what
        was not measured.
    """
    places = Places(inputs.results)
    return Document(
        title=f"{inputs.amplifier.maker} {inputs.amplifier.model}",
        subtitle=TITLES["subtitle"].format(inputs.session),
        language=LANGUAGE,
        date=inputs.day,
        generated=inputs.generated.isoformat(timespec="seconds") if inputs.generated else "",
        program=APPENDIX["program"].format(__version__),
        lead=lead(inputs, places),
        sections=(
            *_sections(_WRITERS, inputs, places, appendix=False),
            *_sections(_APPENDICES, inputs, places, appendix=True),
        ),
    )


def _sections(
    writers: Mapping[str, Writer], inputs: PublishedSession, places: Places, *, appendix: bool
) -> list[Section]:
    written = ((anchor, write(inputs, places)) for anchor, write in writers.items())
    return [
        Section(anchor=anchor, title=SECTIONS[anchor], blocks=blocks, appendix=appendix)
        for anchor, blocks in written
        if blocks
    ]
