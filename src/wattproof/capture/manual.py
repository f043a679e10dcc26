"""Parts that a person works: the supply's knob, the plug of a load, the display of a meter."""

import threading
from contextlib import suppress

from wattproof.bench import Load
from wattproof.capture.contract import Operator, PartCheck
from wattproof.capture.meter import UNITS
from wattproof.errors import RigError, WattproofError

_BY_HAND = "worked by hand"


def _person(operator: Operator | None, what: str) -> Operator:
    if operator is None:
        raise RigError(
            f"Somebody must {what}, and nobody is asked.",
            why="this part is worked by hand, and the program was begun where no person can answer",
            hint="Run it in a terminal or on the page, or give the part an instrument in the bench file.",
        )
    return operator


class ManualSupply:
    """A supply whose knob and switch a person works."""

    def __init__(self, operator: Operator | None, *, name: str = "") -> None:
        self._operator, self._name = operator, name or "the supply"
        self._is_on = False
        self._thread = 0

    def on(self, volts: float, *, limit_a: float | None) -> None:
        """Ask for the voltage and the limit to be set, then for the output to be switched on.

        Raises
        ------
        GuardTripError
            The person would rather stop.
        RigError
            There is nobody to ask.
        """
        person = _person(self._operator, "switch the supply on")
        limit = "" if limit_a is None else f" and its current limit to {limit_a:g} A"
        person.do(
            f"With its output off, set {self._name} to {volts:.2f} V{limit}.",
            hint="Polarity right, fuse near the source, nothing loose on the table.",
        )
        self._is_on, self._thread = True, threading.get_ident()
        person.do(
            f"Switch the output of {self._name} on.",
            hint="Keep a hand at the stop that cuts supply and drive; nobody touches the load or the outputs now.",
        )

    def off(self) -> None:
        """Ask for the output to be switched off.

        Only the thread that had it switched on asks: a trip on another thread must not wait for a person, and the
        thread that conducts comes here next.
        """
        if threading.get_ident() == self._thread:
            self._ask_for_off()

    def _ask_for_off(self) -> None:
        if not self._is_on:
            return
        self._is_on = False
        with suppress(WattproofError):
            _person(self._operator, "switch the supply off").do(
                f"Switch the output of {self._name} off.", hint="Then wait until the amplifier's lamp is out."
            )

    def alive(self) -> None:
        """Nothing to feed: the person is the watchdog."""

    def check(self) -> PartCheck:
        """Say that a person works it."""
        return PartCheck(part="supply", state="good", said=_BY_HAND)

    def close(self) -> None:
        """Ask for the output to be switched off, where it is on, whichever thread lets go of it."""
        self._ask_for_off()


class ManualLoad:
    """A load bank whose plug a person moves."""

    def __init__(self, operator: Operator | None) -> None:
        self._operator = operator
        self._connected: str | None = None

    def use(self, load: Load | None) -> None:
        """Ask for a load to be connected, where it is not the one that is; None asks for it to be taken off.

        Raises
        ------
        GuardTripError
            The person would rather stop.
        RigError
            There is nobody to ask.
        """
        wanted = None if load is None else load.name
        if wanted == self._connected:
            return
        person = _person(self._operator, "connect the load")
        cautions = (
            "The drive is muted. Switch the supply off before you touch anything and wait for the amplifier to "
            "discharge. The resistors may be hot. Never join an output of a bridged amplifier to ground."
        )
        if load is None:
            person.do("Disconnect the load.", hint=cautions)
        else:
            power = f", good for {load.continuous_w:g} W" if load.continuous_w is not None else ""
            person.do(f'Connect the load "{load.name}": {load.resistance_ohm:g} ohm{power}.', hint=cautions)
        self._connected = wanted

    def check(self) -> PartCheck:
        """Say that a person works it."""
        return PartCheck(part="load", state="good", said=_BY_HAND)

    def close(self) -> None:
        """Nothing to let go of."""


class ManualMeter:
    """A meter whose display a person reads."""

    def __init__(self, operator: Operator | None, *, quantity: str, name: str = "") -> None:
        self._operator, self._name = operator, name or "the meter"
        self.quantity = quantity

    def read(self) -> float:
        """Ask for the reading.

        Raises
        ------
        GuardTripError
            The person would rather stop.
        RigError
            There is nobody to ask.
        """
        words = self.quantity.replace("_", " ")
        return _person(self._operator, f"read the {words}").number(
            f"What does {self._name} show as {words}?", unit=UNITS.get(self.quantity, "")
        )

    def check(self) -> PartCheck:
        """Say that a person reads it."""
        return PartCheck(part=f"meter {self.quantity}", state="good", said=_BY_HAND)

    def close(self) -> None:
        """Nothing to let go of."""
