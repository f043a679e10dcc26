"""`plan`: the run sheet of a bench day, and what the bench can judge."""

from datetime import date
from pathlib import Path

from pydantic import BaseModel, ConfigDict

from wattproof.amplifier import parse_amplifier
from wattproof.bench import parse_bench
from wattproof.plan import RunSheet, SheetWishes, make_run_sheet
from wattproof.tasks.files import refuse_overwriting, text_of, write_text


class Planned(BaseModel):
    """What `wattproof plan` answers: the run sheet."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    sheet: RunSheet

    def table(self) -> str:
        """Write the sheet as plain text."""
        from wattproof.report import run_sheet_text

        return run_sheet_text(self.sheet)

    def to_json(self) -> str:
        """Write the one object that `--json` prints: the run sheet, which `run` takes back."""
        return self.sheet.model_dump_json(indent=2, by_alias=True)


def plan(amplifier: Path, bench: Path, *, wishes: SheetWishes | None = None, html: Path | None = None) -> Planned:
    """Plan a bench day: steps, currents, heat and rests, what must be answered first, and what the bench can judge.

    Parameters
    ----------
    amplifier, bench : Path
        amplifier.toml and bench.toml.
    wishes : SheetWishes or None
        What the day is to hold; all is chosen when left out.
    html : Path or None
        Page to print and take to the bench.

    Returns
    -------
    Planned

    Raises
    ------
    SettingsError
        One of the two files is wrong, or a load that the bench does not have is asked for.
    RefusedError
        A load below the amplifier's lowest is asked for without saying that this is meant.
    """
    refuse_overwriting([html], given=[amplifier, bench])
    wishes = wishes or SheetWishes()
    thing = parse_amplifier(text_of(amplifier), file=amplifier.name)
    table = parse_bench(text_of(bench), file=bench.name)
    day = wishes.day or date.today()  # noqa: DTZ011  (the day on the wall of the workshop)
    sheet = make_run_sheet(thing, table, wishes=wishes, day=day)
    if html is not None:
        from wattproof.report import run_sheet_page

        write_text(html, run_sheet_page(sheet, amplifier=thing, bench=table))
    return Planned(sheet=sheet)
