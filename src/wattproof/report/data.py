"""Figures for other programs: one tidy CSV, or one JSON object."""

import csv
import io
import json
from collections.abc import Iterable

from wattproof import __version__
from wattproof.measure import CaptureResult, Figure

SCHEMA = 1
"""Version of the object `results_json` gives; raised when a key changes its meaning."""

_COLUMNS = (
    "file", "kind", "output", "name", "value", "u", "k95", "unit", "lower95", "upper95", "frequency_hz", "load_ohm",
    "supply_v", "bandwidth_low_hz", "bandwidth_high_hz", "conditions", "origin",
)  # fmt: skip


def figures_csv(results: Iterable[CaptureResult]) -> str:
    """Write one row a figure, full precision, SI units, ratios as plain numbers.

    ``conditions`` holds all of them as JSON; the common ones have columns of their own. A text that a spreadsheet
    would take for a formula is given a leading apostrophe.
    """
    rows = (_row(result, figure) for result in results for figure in result.figures)
    return "".join([_line(_COLUMNS), *(_line(row[column] for column in _COLUMNS) for row in rows)])


def _line(cells: Iterable[object]) -> str:
    out = io.StringIO()
    # the writer puts a lone carriage return into quotation marks only where lines end in one
    csv.writer(out, lineterminator="\r\n").writerow(cells)
    return out.getvalue().removesuffix("\r\n") + "\n"


def _row(result: CaptureResult, figure: Figure) -> dict[str, object]:
    band = figure.conditions.get("bandwidth_hz")
    low, high = band if isinstance(band, tuple) and len(band) == 2 else (None, None)
    lower, upper = figure.interval95
    return {
        "file": _harmless(result.file),
        "kind": result.kind,
        "output": _harmless(figure.output or ""),
        "name": _harmless(figure.name),
        "value": repr(figure.value),
        "u": repr(figure.u),
        "k95": repr(figure.k95),
        "unit": figure.unit,
        "lower95": repr(lower),
        "upper95": repr(upper),
        "frequency_hz": figure.conditions.get("frequency_hz"),
        "load_ohm": figure.conditions.get("load_ohm"),
        "supply_v": figure.conditions.get("supply_v"),
        "bandwidth_low_hz": low,
        "bandwidth_high_hz": high,
        "conditions": json.dumps(figure.conditions, sort_keys=True),
        "origin": _harmless(figure.origin),
    }


def _harmless(text: str) -> str:
    return f"'{text}" if text.startswith(("=", "+", "-", "@", "\t", "\r")) else text


def results_json(results: Iterable[CaptureResult], *, views: bool = False) -> dict[str, object]:
    """Give results as one JSON-ready object.

    Parameters
    ----------
    results : iterable of CaptureResult
    views : bool
        Whether the points that a page draws are included.

    Returns
    -------
    dict
        ``{"wattproof": version, "schema": 1, "captures": [...]}``; a value that is no number is null.
    """
    left_out = None if views else {"views"}
    # by way of text, because only there does pydantic write a NaN as the null that JSON has for it
    captures = [json.loads(result.model_dump_json(exclude=left_out)) for result in results]
    return {"wattproof": __version__, "schema": SCHEMA, "captures": captures}
