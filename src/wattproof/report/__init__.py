"""Objects in, text, HTML, JSON, CSV and pictures out; knows no paths, computes no figure."""

from wattproof.report.calibration import calibration_text
from wattproof.report.calibration_parts import CalibrationParts, calibration_chart, calibration_parts
from wattproof.report.charts import (
    distortion_against_power,
    efficiency_against_power,
    power_over_time,
    spectrum,
    supply_sag,
    waveform_at_limit,
)
from wattproof.report.charts_model import predicted_power
from wattproof.report.checks import checks_text
from wattproof.report.comparison import ComparisonParts, comparison_parts, comparison_text
from wattproof.report.conditions import conditions_text, sized
from wattproof.report.data import figures_csv, results_json
from wattproof.report.doubts import Doubt, doubts_of
from wattproof.report.drawing import FONT, Axis, linear_axis, log_axis
from wattproof.report.faces import face_name, face_value
from wattproof.report.floor import floor_text
from wattproof.report.inventory import (
    amplifier_facts,
    bench_facts,
    bench_tables,
    captured_lines,
)
from wattproof.report.leading import strip, with_supply
from wattproof.report.model_text import PredictionParts, model_text, prediction_parts, prediction_text
from wattproof.report.pack import compared_figures, compared_verdicts, key_text, packed_text, verified_text
from wattproof.report.page import (
    FiguresFragments,
    figures_fragments,
    page_environment,
    page_styles,
    session_page,
    typeset,
)
from wattproof.report.palette import DASHES, GRID, INK, LIMIT, PAPER, SERIES, SHAPES, SOFT, Shade, dark_rules, shades
from wattproof.report.plausible import plausible_text
from wattproof.report.run_sheet import run_sheet_text
from wattproof.report.run_sheet_page import run_sheet_page
from wattproof.report.run_sheet_parts import RunSheetParts, run_sheet_parts
from wattproof.report.svg import VEGA_LITE, draw_svg, font_folder
from wattproof.report.table import (
    FigureGroup,
    FigureRow,
    budget_lines,
    budget_text,
    figure_groups,
    figures_table,
    output_name,
    place_name,
    spread_text,
)
from wattproof.report.tables import Cell, TableForm, TableRow, table_csv, table_frame
from wattproof.report.tables_forms import BUDGETS, CAPTURES, CURVES, FIGURES, FORMS, NOTICES, VERDICTS
from wattproof.report.tables_readme import tables_readme
from wattproof.report.tables_rows import (
    Whose,
    budget_rows,
    capture_rows,
    curve_rows,
    figure_rows,
    notice_rows,
    verdict_rows,
)
from wattproof.report.verdicts import signed_text, signed_with_doubt, verdicts_text
from wattproof.report.words import CAUTIONS, HEADS, KINDS, figure_name, limit_percent

__all__ = [
    "BUDGETS",
    "CAPTURES",
    "CAUTIONS",
    "CURVES",
    "DASHES",
    "FIGURES",
    "FONT",
    "FORMS",
    "GRID",
    "HEADS",
    "INK",
    "KINDS",
    "LIMIT",
    "NOTICES",
    "PAPER",
    "SERIES",
    "SHAPES",
    "SOFT",
    "VEGA_LITE",
    "VERDICTS",
    "Axis",
    "CalibrationParts",
    "Cell",
    "ComparisonParts",
    "Doubt",
    "FigureGroup",
    "FigureRow",
    "FiguresFragments",
    "PredictionParts",
    "RunSheetParts",
    "Shade",
    "TableForm",
    "TableRow",
    "Whose",
    "amplifier_facts",
    "bench_facts",
    "bench_tables",
    "budget_lines",
    "budget_rows",
    "budget_text",
    "calibration_chart",
    "calibration_parts",
    "calibration_text",
    "capture_rows",
    "captured_lines",
    "checks_text",
    "compared_figures",
    "compared_verdicts",
    "comparison_parts",
    "comparison_text",
    "conditions_text",
    "curve_rows",
    "dark_rules",
    "distortion_against_power",
    "doubts_of",
    "draw_svg",
    "efficiency_against_power",
    "face_name",
    "face_value",
    "figure_groups",
    "figure_name",
    "figure_rows",
    "figures_csv",
    "figures_fragments",
    "figures_table",
    "floor_text",
    "font_folder",
    "key_text",
    "limit_percent",
    "linear_axis",
    "log_axis",
    "model_text",
    "notice_rows",
    "output_name",
    "packed_text",
    "page_environment",
    "page_styles",
    "place_name",
    "plausible_text",
    "power_over_time",
    "predicted_power",
    "prediction_parts",
    "prediction_text",
    "results_json",
    "run_sheet_page",
    "run_sheet_parts",
    "run_sheet_text",
    "session_page",
    "shades",
    "signed_text",
    "signed_with_doubt",
    "sized",
    "spectrum",
    "spread_text",
    "strip",
    "supply_sag",
    "table_csv",
    "table_frame",
    "tables_readme",
    "typeset",
    "verdict_rows",
    "verdicts_text",
    "verified_text",
    "waveform_at_limit",
    "with_supply",
]
