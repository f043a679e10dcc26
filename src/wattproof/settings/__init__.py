"""Text that a person wrote in, checked objects out, or one error that lists every fault with its line."""

from wattproof.settings.explain import toml_value
from wattproof.settings.faults import Fault, custom_fault, nearest, settings_error
from wattproof.settings.parse import Clash, parse_settings
from wattproof.settings.table import Column, Row, number_of, read_table
from wattproof.settings.toml_edit import edited_toml
from wattproof.settings.toml_lines import key_lines
from wattproof.settings.types import Band, Day, Number, Part, Whole, Words

__all__ = [
    "Band",
    "Clash",
    "Column",
    "Day",
    "Fault",
    "Number",
    "Part",
    "Row",
    "Whole",
    "Words",
    "custom_fault",
    "edited_toml",
    "key_lines",
    "nearest",
    "number_of",
    "parse_settings",
    "read_table",
    "settings_error",
    "toml_value",
]
