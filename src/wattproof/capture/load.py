"""A load that is spoken to: a relay box that knows loads by name, or an electronic load."""

import re
from collections.abc import Sequence
from contextlib import suppress

from wattproof.bench import Load
from wattproof.capture.checks import part_check, settled
from wattproof.capture.contract import PartCheck
from wattproof.capture.driver import Driver
from wattproof.capture.instrument import LoadWords, Pattern, Relay
from wattproof.errors import RigError, WattproofError

_SAME = 0.02
"""An electronic load may set its resistance in steps; this much of it is no fault."""


class WiredLoad:
    """A load as its instrument file says; a load is disconnected before another is connected.

    Parameters
    ----------
    driver : Driver
        Of an instrument of kind "load".
    words : LoadWords
    loads : sequence of Load
        Of the bench.
    """

    def __init__(self, driver: Driver, words: LoadWords, loads: Sequence[Load]) -> None:
        self._driver, self._words, self._loads = driver, words, tuple(loads)

    def use(self, load: Load | None) -> None:
        """Disconnect everything, then connect a load.

        Raises
        ------
        RigError
            It has no such load, or says that it did not do it; nothing is connected then, as far as it obeys.
        WireError
            It does not answer, or refuses a command.
        """
        commands = () if load is None else self._commands(load)  # refuse before anything moves
        self._disconnect()
        if load is None:
            return
        try:
            self._driver.say(*commands, values={"resistance_ohm": load.resistance_ohm})
            self._driver.settle()
            self._confirm(load)
        except WattproofError:
            with suppress(WattproofError):
                self._driver.say(*self._words.none)
            raise

    def _disconnect(self) -> None:
        self._driver.say(*self._words.none)
        self._driver.settle()
        self._see_state(self._words.none_said, "disconnected")

    def _commands(self, load: Load) -> tuple[str, ...]:
        if self._words.set_ohm:
            self._refuse_out_of_range(load)
            return (*self._words.set_ohm, *self._words.on)
        return self._relay(load).close

    def _relay(self, load: Load) -> Relay:
        found = next((relay for relay in self._words.relays if relay.load == load.name), None)
        if found is None:
            known = ", ".join(f'"{relay.load}"' for relay in self._words.relays)
            raise RigError(
                f'{self._driver.name} cannot connect the load "{load.name}".',
                why=f"its file knows {known}",
                hint=f'Add [[load.relays]] with load = "{load.name}" to its file, spelt as in the bench file.',
            )
        return found

    def _refuse_out_of_range(self, load: Load) -> None:
        limits = self._words.range_ohm
        if limits is not None and not limits[0] <= load.resistance_ohm <= limits[1]:
            raise RigError(
                f'{self._driver.name} cannot be a load of {load.resistance_ohm:g} ohm ("{load.name}").',
                why=f"its file says range_ohm = [{limits[0]:g}, {limits[1]:g}]",
                hint="Use a resistor for this load, or correct range_ohm.",
            )

    def _confirm(self, load: Load) -> None:
        if not self._words.set_ohm:
            self._see_state(self._relay(load).said, f'connected to "{load.name}"')
        elif self._words.set_ohm_said is not None:
            said_ohm = self._driver.number(self._words.set_ohm_said)
            if abs(said_ohm - load.resistance_ohm) > _SAME * load.resistance_ohm:
                raise self._disobeyed(f"set to {load.resistance_ohm:g} ohm it says {said_ohm:g} ohm")

    def _see_state(self, pattern: Pattern | None, wanted: str) -> None:
        if self._words.state is None or pattern is None:
            return
        said = self._driver.ask(self._words.state)
        if not re.fullmatch(pattern, said, re.IGNORECASE):
            raise self._disobeyed(f'{wanted} it should answer "{pattern}" and says "{said[:80]}"')

    def _disobeyed(self, why: str) -> RigError:
        return RigError(
            f"{self._driver.name} has not switched as it was told.",
            why=why,
            hint="Supply off first. Then look at its relays and their feed; a contact that has welded is replaced.",
        )

    def check(self) -> PartCheck:
        """Say who it is, whether it disconnects, and which loads of the bench it can connect."""
        inside = [part_check("identity", lambda: self._driver.identity)]
        if self._words.state is not None:
            state = self._words.state
            inside.append(part_check("state", lambda: self._driver.ask(state)))
        inside += [self._check_of(load) for load in self._loads]
        return settled(PartCheck(part="load", state="good", said=self._driver.name, inside=tuple(inside)))

    def _check_of(self, load: Load) -> PartCheck:
        def ask() -> str:
            self._commands(load)
            return f"{load.resistance_ohm:g} ohm"

        return part_check(f'load "{load.name}"', ask)

    def close(self) -> None:
        """Let go of it; what is connected stays connected, for the amplifier's output must never hang open."""
        self._driver.close()
