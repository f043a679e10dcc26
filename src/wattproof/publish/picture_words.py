"""Every word that pictures and cards say of themselves, in one place, so that they can be read over and translated."""

from collections.abc import Mapping
from types import MappingProxyType

SAY: Mapping[str, str] = MappingProxyType(
    {
        "and": "{} and {}",
        "span": "{} to {}",
        "day": "Bench day {}",
        "loads": "{} ohm",
        "volts": "{} V at the terminals",
        "tone": "{} Hz",
        "driven_one": "one output driven",
        "driven": "{} outputs driven at once",
        "interval": "± and bars span 95 % intervals",
        "rule": "rule, fixed beforehand: a rating is met, or fallen short of, where that is at least {} probable",
    }
)
