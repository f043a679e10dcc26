"""Amplifier papers, and what can be said of their ratings while they are being typed."""

from dataclasses import dataclass
from pathlib import Path

from wattproof.amplifier import RATING_UNITS, Amplifier, parse_amplifier
from wattproof.errors import WattproofError
from wattproof.judge import Plausibility, unsaid
from wattproof.judge import plausible as look_at
from wattproof.tasks.amplifier_fields import AMPLIFIER_PARTS
from wattproof.tasks.paper_desk import FormKept, PaperDesk
from wattproof.tasks.paper_fields import FormTyped


@dataclass(frozen=True, kw_only=True)
class AmplifierLook:
    """What can be said of what was typed so far.

    Attributes
    ----------
    found : Plausibility or None
        None where something is wrong.
    open : dict of int to tuple of str
        Conditions that a rated power leaves open, by its row in the form.
    wrong : dict of str to str
        What is wrong with fields, by "part.row.key".
    fault : WattproofError or None
    """

    found: Plausibility | None
    open: dict[int, tuple[str, ...]]
    wrong: dict[str, str]
    fault: WattproofError | None = None


class AmplifierPapers(PaperDesk[Amplifier]):
    """The amplifier papers of an archive.

    Parameters
    ----------
    archive : Path
        Its folder.
    """

    def __init__(self, archive: Path) -> None:
        super().__init__(archive, kind="amplifier", parts=AMPLIFIER_PARTS, parse=parse_amplifier)

    def made(self, typed: FormTyped, *, name: str = "", number: int | None = None) -> FormKept:
        """Write the file that a form stands for; a rating without a unit has its quantity's usual one."""
        rows = [with_unit(row) for row in typed.rows.get("ratings", [])]
        return super().made(FormTyped(rows={**typed.rows, "ratings": rows}), name=name, number=number)

    def look(self, typed: FormTyped, *, name: str = "", number: int | None = None) -> AmplifierLook:
        """Look at ratings while they are typed: rows without a value are passed over, and nobody need be named yet.

        Raises
        ------
        ArchiveError
            There is no such paper.
        """
        top = dict(typed.rows.get("", [{}])[0])
        top["maker"], top["model"] = top.get("maker") or "unnamed", top.get("model") or "amplifier"
        rows = typed.rows.get("ratings", [])
        told = [place for place, row in enumerate(rows) if row.get("value", "").strip()]
        begun = FormTyped(rows={**typed.rows, "": [top], "ratings": [rows[one] for one in told]})
        made = self.made(begun, name=name, number=number)
        wrong = {_row_named(key, told): words for key, words in made.wrong.items()}
        if wrong or made.fault is not None:
            return AmplifierLook(found=None, open={}, wrong=wrong, fault=made.fault)
        thing = parse_amplifier(made.text, file="what you typed")
        left_open = {told[place]: words for place, words in unsaid(thing).items() if words}
        return AmplifierLook(found=look_at(thing), open=left_open, wrong={})


def with_unit(row: dict[str, str]) -> dict[str, str]:
    """Fill in the usual unit of a quantity where none is typed."""
    usual = RATING_UNITS.get(row.get("quantity", ""), ("",))[0]
    return {**row, "unit": row.get("unit", "").strip() or usual}


def _row_named(key: str, told: list[int]) -> str:
    part, number, name = key.split(".", 2)
    return f"{part}.{told[int(number)]}.{name}" if part == "ratings" else key
