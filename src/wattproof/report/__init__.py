"""Objects in, text, HTML, JSON, CSV and pictures out; knows no paths, computes no figure."""

from wattproof.report.data import figures_csv, results_json
from wattproof.report.table import FigureGroup, FigureRow, budget_text, figure_groups, figures_table
from wattproof.report.words import CAUTIONS, figure_name

__all__ = [
    "CAUTIONS",
    "FigureGroup",
    "FigureRow",
    "budget_text",
    "figure_groups",
    "figure_name",
    "figures_csv",
    "figures_table",
    "results_json",
]
