"""What a person wants of a bench day; all of it may be left out."""

from dataclasses import dataclass
from datetime import date
from math import isfinite
from typing import Literal

from wattproof.errors import SettingsError

Driven = Literal["all", "each"]
BurstWish = Literal["whole-cycles", "1-khz", "both", "none"]

LOAD_TAU_S = 120.0
"""Time constant of a load resistor's heating, seconds (docs/methods/run_sheet.md)."""


@dataclass(frozen=True, kw_only=True)
class SheetWishes:
    """What the bench day is to hold; what is left out is chosen from the two files.

    Attributes
    ----------
    loads : tuple of str
        Names of the bench's loads to measure; all that the amplifier is allowed when left out.
    below_minimum : bool
        Also loads below the amplifier's rated minimum: it may be destroyed, and the run asks once more.
    outputs : tuple of str
        Names of the amplifier's outputs to drive; all when left out. Of bridged pairs the first output's name.
    bridged : bool
        The outputs are wired in pairs, each pair as one bridged output.
    hold_s : float
        How long full power is held, seconds; 0 leaves the holds out.
    supply_v : float or None
        Supply voltage at the amplifier's terminals; the ratings' when left out, else the bench's.
    tone_hz : float or None
        Test tone; chosen inside the amplifier's band and away from mains frequencies when left out.
    driven : "all" or "each"
        All outputs at once, or one after the other.
    burst : "whole-cycles", "1-khz", "both" or "none"
        Bursts of whole cycles of the test tone; 20 ms of exactly 1 kHz every 500 ms; both; none.
    load_tau_s : float
        Time constant with which the load resistors heat and cool, seconds.
    day : date or None
        Day of the bench day, for calibrations that run out; today when left out.
    """

    loads: tuple[str, ...] = ()
    below_minimum: bool = False
    outputs: tuple[str, ...] = ()
    bridged: bool = False
    hold_s: float = 30.0
    supply_v: float | None = None
    tone_hz: float | None = None
    driven: Driven = "all"
    burst: BurstWish = "whole-cycles"
    load_tau_s: float = LOAD_TAU_S
    day: date | None = None

    def __post_init__(self) -> None:
        """Refuse numbers that no bench day can follow."""
        if not (isfinite(self.hold_s) and 0 <= self.hold_s <= 3600):
            raise _no_such("hold_s", self.hold_s, "seconds from 0 to 3600")
        for name, most in (("supply_v", 100.0), ("tone_hz", 20000.0), ("load_tau_s", 36000.0)):
            value = getattr(self, name)
            if value is not None and not 0 < value <= most:
                raise _no_such(name, value, f"a number above 0, {most:g} at most")


def _no_such(name: str, value: float, wanted: str) -> SettingsError:
    option = f"--{name.replace('_', '-')}"
    return SettingsError(
        f"{option} cannot be {value:g}.", why=f"it takes {wanted}", hint=f"Correct or leave out {option}."
    )
