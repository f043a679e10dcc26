"""Text that a person wrote in, checked objects out, or one error that lists every fault with its line."""

from wattproof.settings.faults import Fault, custom_fault, nearest, settings_error
from wattproof.settings.parse import Clash, parse_settings
from wattproof.settings.toml_lines import key_lines
from wattproof.settings.types import Band, Day, Number, Part, Whole, Words

__all__ = [
    "Band",
    "Clash",
    "Day",
    "Fault",
    "Number",
    "Part",
    "Whole",
    "Words",
    "custom_fault",
    "key_lines",
    "nearest",
    "parse_settings",
    "settings_error",
]
