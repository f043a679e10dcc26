"""The words that lie beside exported tables, for whoever opens the folder years later."""

import textwrap
from collections.abc import Mapping, Sequence

from wattproof.report.tables_forms import FORMS

WIDEST, MOST_NAMES = 110, 8


def tables_readme(sessions: Sequence[str], rows: Mapping[str, int], *, samples: bool, program: str) -> str:
    """Write README.txt of a folder of exported tables.

    Parameters
    ----------
    sessions : sequence of str
        Names of the sessions in it.
    rows : mapping of str to int
        How many rows each table has.
    samples : bool
        Whether the recordings lie in the folder too.
    program : str
        Name and version of what wrote it.
    """
    shown = ", ".join(sessions[:MOST_NAMES]) + (" and more, all in index.json" if len(sessions) > MOST_NAMES else "")
    tables = [f"{form.name} ({rows[form.name]} rows): a row is {form.row}." for form in FORMS]
    inside = _SAMPLES if samples else _JSON
    parts = (
        f"Bench measurements of amplifiers, written by {program}",
        *_listed(f"Sessions: {len(sessions)}. {shown}", ()),
        *_listed("Tables, each as CSV and as Parquet:", tables),
        "index.json describes every column of every table (type, unit, meaning) and lists every file with its SHA-256.",
        *_listed("How to read them:", _HOW),
        *_listed("In sessions/NAME/:", inside),
    )
    return "\n\n".join(parts) + "\n"


_HOW = (
    "Numbers have every digit, a decimal point and SI units; ratios are plain numbers (0.01, not 1 %). They are not "
    "rounded: quote a value with its interval, low95 to high95, which holds the true value with 95 % probability.",
    "An empty cell (null in Parquet and JSON) means not known, or does not apply. No NaN and no 0 stands for that.",
    "In CSV a text that begins with = + - @ ' or a tab has an apostrophe before it, so that no spreadsheet takes it "
    "for a formula. Programs take one apostrophe away from each text that begins with one. Parquet and JSON have no "
    "such apostrophes.",
    "CSV is UTF-8 with commas; texts may hold line breaks within quotation marks.",
    "Figures that share a source in budgets are correlated: their ratio is known better than either of them.",
)
_JSON = (
    "figures.json and verdicts.json: the same as objects. `wattproof schema measure` and `wattproof schema judge` "
    "print what is in them.",
)
_SAMPLES = (
    *_JSON,
    "captures/: the recordings, FLAC where that holds every sample exactly and WAV otherwise, each with a JSON of the "
    "same name.",
    "A sample as common programs give it, a fraction of full scale (in WAV of floating point: the number as it is), "
    "becomes volts, amperes or degrees by: offset + factor x sample, with the channel's factor and offset in that "
    "JSON. A channel's own time is the file's time less its skew_s.",
)


def _listed(head: str, items: Sequence[str]) -> tuple[str]:
    """Fold a head and the items under it into one paragraph."""
    lines = textwrap.wrap(head, WIDEST, break_on_hyphens=False)
    for item in items:
        lines += textwrap.wrap(item, WIDEST, initial_indent="- ", subsequent_indent="  ", break_on_hyphens=False)
    return ("\n".join(lines),)
