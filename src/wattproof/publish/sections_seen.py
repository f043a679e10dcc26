"""What was seen with the lid off, with photographs; and what the person thinks, kept apart from what was measured."""

from wattproof.amplifier import Inside
from wattproof.publish.document import Block, Bullets, Facts, Paragraph, Words
from wattproof.publish.inputs import PublishedSession
from wattproof.publish.places import Places
from wattproof.publish.wording import OPINION, SEEN
from wattproof.report import sized

_UNITS = {
    "rail_capacitor_v": "V",
    "rail_v": "V",
    "rail_at_supply_v": "V",
    "fuses_a": "A",
    "cable_mm2": "mm²",
    "terminal_mm2": "mm²",
}


def inside_blocks(inputs: PublishedSession, _places: Places) -> tuple[Block, ...]:
    """Give what the amplifier file says of its inside, and the photographs."""
    pairs = _pairs(inputs.amplifier.inside)
    if not pairs and not inputs.photos:
        return (Paragraph(words=(SEEN["none"],)),)
    facts = (Paragraph(words=(SEEN["note"],), tone="aside"), Facts(pairs=tuple(pairs))) if pairs else ()
    return (*facts, *inputs.photos)


def _pairs(inside: Inside | None) -> list[tuple[str, tuple[Words, ...]]]:
    if inside is None:
        return []
    stated = inside.model_dump(exclude_none=True, exclude={"photos"})
    return [(SEEN[name], (_said(name, value),)) for name, value in stated.items()]


def _said(name: str, value: object) -> str:
    if isinstance(value, bool):
        return SEEN["yes" if value else "no"]
    if name == "rail_capacitance_f" and isinstance(value, float):
        return f"{1e6 * value:.6g} µF"
    if isinstance(value, tuple):
        return ", ".join(f"{one:g} {_UNITS[name]}" for one in value)
    return sized(value, _UNITS[name]) if isinstance(value, int | float) else str(value)


def opinion_blocks(inputs: PublishedSession, _places: Places) -> tuple[Block, ...]:
    """Give the person's own words, said to be opinion; nothing where there are none."""
    remarks = inputs.remarks
    if remarks is None or not (remarks.summary or remarks.pros or remarks.cons):
        return ()
    blocks: list[Block] = [Paragraph(words=(OPINION["note"],), tone="aside")]
    if remarks.summary:
        blocks.append(Paragraph(words=(remarks.summary,)))
    for title, items in (("pros", remarks.pros), ("cons", remarks.cons)):
        if items:
            blocks.append(Bullets(items=tuple((item,) for item in items), title=OPINION[title]))
    return tuple(blocks)
