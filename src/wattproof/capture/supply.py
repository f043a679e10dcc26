"""A supply that is spoken to: its own limits first, then the output; off from any thread, within a stated time."""

import math
import threading
import time

from wattproof.bench import PartSettings
from wattproof.capture.checks import part_check, settled
from wattproof.capture.contract import PartCheck
from wattproof.capture.driver import Driver
from wattproof.capture.instrument import SupplyWords
from wattproof.errors import RigError, WattproofError, WireError

OFF_S = 0.5
"""`off` returns within this long, whatever the supply does; seconds."""

_RISE_S = 2.0
"""A supply may charge the amplifier's capacitors for this long before its voltage is there, seconds."""

_NEAR = 0.1
"""Its measured voltage may differ from the set one by this part of it before that is a fault."""

_FEED_S = 1.0
"""A shorter watchdog would bite while the bench is well: it is fed about twice a second."""


class WiredSupply:
    """A supply as its instrument file says.

    Parameters
    ----------
    driver : Driver
        Of an instrument of kind "supply".
    words : SupplyWords
    settings : PartSettings
        Of the bench file.

    Raises
    ------
    RigError
        A watchdog is asked for that it has not, or one too short to be fed.
    """

    def __init__(self, driver: Driver, words: SupplyWords, settings: PartSettings) -> None:
        self._driver, self._words, self._settings = driver, words, settings
        self._stop = threading.Event()
        self._switching = threading.Lock()  # on and off never cross: after off nothing says on any more
        self._is_on = False
        self._doubt: WattproofError | None = None
        self._refuse_useless_watchdog()

    def _refuse_useless_watchdog(self) -> None:
        seconds = self._settings.watchdog_s
        if seconds is None:
            return
        if not self._words.watchdog:
            raise RigError(
                f"{self._driver.name} has no watchdog.",
                why="the bench file says watchdog_s, the instrument's file has no watchdog commands",
                hint="Write watchdog under [supply] in the instrument's file, or delete watchdog_s.",
            )
        settle_s = self._driver.words.settle_s
        least_s = math.ceil(10 * (_FEED_S + settle_s)) / 10
        if seconds < least_s:
            raise RigError(
                f"A watchdog of {seconds:g} s would bite while the bench is well.",
                why=f"it is fed about twice a second, and not while the supply settles for {settle_s:g} s",
                hint=f"Write watchdog_s = {least_s:g} or more.",
            )

    def on(self, volts: float, *, limit_a: float | None) -> None:
        """Set its own limits and watchdog, read back, then switch the output on and see that its voltage is there.

        Parameters
        ----------
        volts : float, V > 0
        limit_a : float or None, A

        Raises
        ------
        WireError
            It does not answer, or refuses a command; its output is off.
        RigError
            It does not do what it was told, or was told meanwhile to switch off; its output is off.
        """
        self._stop.clear()
        try:
            if not self._is_on:  # it may still be on since a program died
                self._driver.say(*self._words.off)
            self._prepare(volts, limit_a)
            with self._switching:
                self._refuse_if_stopped()
                self._is_on = True
                self._driver.say(*self._words.on, checked=False)
            self._driver.raise_errors(self._words.on)
            self._driver.settle()
            self._confirm(volts)
            self._refuse_if_stopped()
        except WattproofError:
            self.off()
            raise

    def _prepare(self, volts: float, limit_a: float | None) -> None:
        words, values = self._words, {"volts": volts}
        commands = []
        if limit_a is not None:
            values |= {"limit_a": limit_a, "over_current_a": limit_a * words.over_current_ratio}
            commands += [*words.set_limit, *words.over_current]
        if self._settings.watchdog_s is not None:
            values["watchdog_s"] = self._settings.watchdog_s
            commands += words.watchdog
        values["over_voltage_v"] = over_v = volts * words.over_voltage_ratio
        last = (words.over_voltage, words.set_volts)
        if words.set_volts_said is not None and self._driver.number(words.set_volts_said) > over_v:
            last = (words.set_volts, words.over_voltage)  # many refuse a shut-down below the voltage that is set
        self._driver.say(*commands, *last[0], *last[1], values=values)
        if words.set_volts_said is not None:
            said_v = self._driver.number(words.set_volts_said)
            if abs(said_v - volts) > 0.01 * volts:
                raise self._disobeyed(f"set to {volts:g} V it says that it is set to {said_v:g} V")

    def _confirm(self, volts: float) -> None:
        words = self._words
        if words.is_on is not None and not self._driver.state(words.is_on):
            raise self._disobeyed("told to switch its output on it says that it is off")
        if words.volts is None:
            return
        until = time.monotonic() + _RISE_S
        while abs((seen_v := self._driver.number(words.volts)) - volts) > _NEAR * volts:
            self._refuse_if_stopped()
            self._driver.say(*words.feed, checked=False)
            if time.monotonic() > until or seen_v > volts * (1 + _NEAR):
                raise self._disobeyed(f"set to {volts:g} V it measures {seen_v:g} V after {_RISE_S:g} s at most")
            time.sleep(0.05)

    def _disobeyed(self, why: str) -> RigError:
        return RigError(
            f"{self._driver.name} does not do what it was told; its output has been switched off.",
            why=why,
            hint="Look at its front panel: remote control, limits, sense leads. Look for a short circuit behind it.",
        )

    def _refuse_if_stopped(self) -> None:
        if self._stop.is_set():
            raise RigError(
                f"{self._driver.name} was told to switch off while it was being switched on.",
                hint="See why the bench was stopped before switching it on again.",
            )

    def off(self) -> None:
        """Open the output, from any thread, within `OFF_S`; a supply that is gone is noted for `check`."""
        self._stop.set()
        self._is_on = False
        self._doubt = WireError(f"{self._driver.wire.where} has not confirmed it within {OFF_S:g} s.")
        worker = threading.Thread(target=self._off, name="supply off", daemon=True)
        worker.start()
        worker.join(OFF_S)

    def _off(self) -> None:
        for _attempt in range(2):
            try:
                with self._switching:
                    for command in self._words.off:
                        self._driver.wire.write(command.format_map({}), urgent=True)
                if self._words.is_on is None or not self._driver.state(self._words.is_on):
                    self._doubt = None
                    return
            except WattproofError as error:
                self._doubt = error

    def alive(self) -> None:
        """Feed its watchdog and see that its output is still on.

        Raises
        ------
        WireError
            It does not answer any more.
        RigError
            It has opened its output by itself.
        """
        if not self._is_on:
            return
        try:
            self._driver.say(*self._words.feed, checked=False)
            opened = self._words.is_on is not None and not self._driver.state(self._words.is_on)
            if not self._words.feed and self._words.is_on is None and self._words.volts is not None:
                self._driver.number(self._words.volts)
        except WattproofError:
            if self._stop.is_set():
                return  # `off` broke the question off
            raise
        if opened and not self._stop.is_set():
            raise RigError(
                f"{self._driver.name} has opened its output by itself.",
                why="it was switched on and says that it is off",
                hint="Look at its front panel for the limit that opened it: over-voltage, over-current, its watchdog.",
            )

    def check(self) -> PartCheck:
        """Say who it is, whether its output is on, what it measures, and how it would stop by itself."""
        driver, words = self._driver, self._words
        checks = [part_check("identity", lambda: driver.identity)]
        if words.is_on is not None:
            state = words.is_on
            checks.append(part_check("output", lambda: "on" if driver.state(state) else "off"))
        readings = [(one, unit) for one, unit in ((words.volts, "V"), (words.amps, "A")) if one is not None]
        if readings:
            checks.append(
                part_check("reading", lambda: ", ".join(f"{driver.number(one):g} {unit}" for one, unit in readings))
            )
        checks.append(self._check_of_stopping())
        if self._doubt is not None:
            checks.append(
                PartCheck(
                    part="off",
                    state="failed",
                    said="it was told to open its output and did not confirm it",
                    why=self._doubt.message,
                    hint="Switch it off by hand and look at its wiring.",
                )
            )
        return settled(PartCheck(part="supply", state="good", said=driver.name, inside=tuple(checks)))

    def _check_of_stopping(self) -> PartCheck:
        words = self._words
        has = [
            name
            for name, commands in (
                ("current limit", words.set_limit or words.over_current),
                ("over-voltage", words.over_voltage),
                ("watchdog", words.watchdog if self._settings.watchdog_s is not None else ()),
            )
            if commands
        ]
        if len(has) == 3:
            return PartCheck(part="own limits", state="good", said=", ".join(has))
        lacks = [name for name in ("current limit", "over-voltage", "watchdog") if name not in has]
        alone = ": nothing opens it when this program dies" if "watchdog" in lacks else ""
        return PartCheck(
            part="own limits",
            state="doubtful",
            said=", ".join(has) or "none",
            why=f"it is not given its {', '.join(lacks)}{alone}",
            hint="Write set_limit, over_voltage and watchdog in its file and watchdog_s in the bench file, where it "
            "has them; have a hardware stop in any case.",
        )

    def close(self) -> None:
        """Open the output and let go of it."""
        self.off()
        self._driver.close()
