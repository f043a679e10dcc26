"""A run sheet's words and rows one by one, for a page that sets them itself."""

from dataclasses import dataclass

from wattproof.plan import Check, RunSheet, Step
from wattproof.report.run_sheet import lede, step_cells, totals
from wattproof.report.run_sheet_words import SHEET, STATES, STEP_HEADS


@dataclass(frozen=True, kw_only=True)
class RunSheetParts:
    """What a page says of a run sheet.

    Attributes
    ----------
    lede, totals, estimates : str
        What it is for, what the day costs, and how sure that is.
    heads : tuple of str
        Of the steps' columns.
    rows : tuple of (Step, tuple of str)
        Each step with its cells.
    checks : tuple of (str, tuple of Check)
        Under the heading of their state, the gravest first; only states that occur.
    """

    lede: str
    totals: str
    estimates: str
    heads: tuple[str, ...]
    rows: tuple[tuple[Step, tuple[str, ...]], ...]
    checks: tuple[tuple[str, tuple[Check, ...]], ...]


def run_sheet_parts(sheet: RunSheet) -> RunSheetParts:
    """Put a run sheet into words, part by part.

    Parameters
    ----------
    sheet : RunSheet
    """
    by_state = ((heading, tuple(c for c in sheet.checks if c.state == state)) for state, heading in STATES.items())
    return RunSheetParts(
        lede=lede(sheet),
        totals=totals(sheet),
        estimates=SHEET["estimates"],
        heads=STEP_HEADS,
        rows=tuple((step, step_cells(step)) for step in sheet.steps),
        checks=tuple((heading, checks) for heading, checks in by_state if checks),
    )
