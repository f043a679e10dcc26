"""A meter that is asked over a wire."""

from wattproof.capture.checks import part_check, settled
from wattproof.capture.contract import PartCheck
from wattproof.capture.driver import Driver
from wattproof.capture.instrument import MeterWords

UNITS = {
    "temperature": "°C",
    "load_voltage": "V",
    "drive_voltage": "V",
    "supply_voltage": "V",
    "load_current": "A",
    "supply_current": "A",
    "power": "W",
    "frequency": "Hz",
}
"""Units of what a meter may read; any other quantity is a plain number."""


class WiredMeter:
    """A meter as its instrument file says.

    Parameters
    ----------
    driver : Driver
        Of an instrument of kind "meter".
    words : MeterWords
    quantity : str
        What it reads on this bench.
    """

    def __init__(self, driver: Driver, words: MeterWords, quantity: str) -> None:
        self._driver, self._words = driver, words
        self.quantity = quantity

    def read(self) -> float:
        """Give one reading, SI unit, temperature in degrees Celsius.

        Raises
        ------
        WireError
            No answer, or none that is a number within its range.
        """
        return self._driver.number(self._words.read)

    def check(self) -> PartCheck:
        """Say who it is and what it reads."""
        unit = UNITS.get(self.quantity, "")
        inside = (
            part_check("identity", lambda: self._driver.identity),
            part_check("reading", lambda: f"{self.read():.4g} {unit}".rstrip()),
        )
        return settled(PartCheck(part=f"meter {self.quantity}", state="good", said=self._driver.name, inside=inside))

    def close(self) -> None:
        """Let go of it."""
        self._driver.close()
