"""Objects in, text, HTML, JSON, CSV and pictures out; knows no paths, computes no figure."""

from wattproof.report.calibration import calibration_text
from wattproof.report.charts import (
    distortion_against_power,
    efficiency_against_power,
    power_over_time,
    spectrum,
    supply_sag,
    waveform_at_limit,
)
from wattproof.report.checks import checks_text
from wattproof.report.comparison import comparison_text
from wattproof.report.data import figures_csv, results_json
from wattproof.report.doubts import Doubt, doubts_of
from wattproof.report.faces import face_name, face_value
from wattproof.report.floor import floor_text
from wattproof.report.model_text import model_text, prediction_text
from wattproof.report.page import session_page
from wattproof.report.palette import DASHES, GRID, INK, LIMIT, PAPER, SERIES, SHAPES, SOFT, Shade, shades
from wattproof.report.plausible import plausible_text
from wattproof.report.run_sheet import run_sheet_text
from wattproof.report.run_sheet_page import run_sheet_page
from wattproof.report.svg import draw_svg
from wattproof.report.table import FigureGroup, FigureRow, budget_text, figure_groups, figures_table
from wattproof.report.verdicts import verdicts_text
from wattproof.report.words import CAUTIONS, figure_name

__all__ = [
    "CAUTIONS",
    "DASHES",
    "GRID",
    "INK",
    "LIMIT",
    "PAPER",
    "SERIES",
    "SHAPES",
    "SOFT",
    "Doubt",
    "FigureGroup",
    "FigureRow",
    "Shade",
    "budget_text",
    "calibration_text",
    "checks_text",
    "comparison_text",
    "distortion_against_power",
    "doubts_of",
    "draw_svg",
    "efficiency_against_power",
    "face_name",
    "face_value",
    "figure_groups",
    "figure_name",
    "figures_csv",
    "figures_table",
    "floor_text",
    "model_text",
    "plausible_text",
    "power_over_time",
    "prediction_text",
    "results_json",
    "run_sheet_page",
    "run_sheet_text",
    "session_page",
    "shades",
    "spectrum",
    "supply_sag",
    "verdicts_text",
    "waveform_at_limit",
]
