"""A supply with a watchdog, a relay box, a thermometer and an oscilloscope for the simulated bench, on loopback."""

import re
import threading
import time
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from wattproof.sim.instruments import BenchSide, InstrumentServer


class SupplyServer(InstrumentServer):
    """A supply: voltage, current limit, shut-downs, output, and a watchdog that opens it when it hears nothing.

    Parameters
    ----------
    bench : BenchSide
    highest_v, highest_a : float, V and A
        More it refuses.
    """

    def __init__(self, bench: BenchSide, *, highest_v: float = 30.0, highest_a: float = 200.0) -> None:
        self._bench = bench
        self._highest = {"volts": highest_v, "limit": highest_a, "over_volts": highest_v * 1.2, "over_amps": highest_a}
        self._set = {"volts": 0.0, "limit": highest_a, "over_volts": highest_v * 1.2, "over_amps": highest_a}
        self.is_on = False
        self.watchdog_s = 0.0
        self.obeys = True
        self._heard_at = time.monotonic()
        self._ended = threading.Event()
        super().__init__(
            identity="HAZEL DRIFT,SUPPLY 30-200,0012,1.4",
            commands={
                "VOLTage": lambda words: self._take("volts", words),
                "VOLTage?": lambda _words: f"{self._set['volts']:.4f}",
                "CURRent": lambda words: self._take("limit", words),
                "CURRent?": lambda _words: f"{self._set['limit']:.3f}",
                "VOLTage:PROTection": lambda words: self._take("over_volts", words),
                "CURRent:PROTection": lambda words: self._take("over_amps", words),
                "OUTPut": self._output,
                "OUTPut?": lambda _words: str(int(self.is_on)),
                "MEASure:VOLTage?": lambda _words: f"{self._bench.supply_reading()[0]:.4f}",
                "MEASure:CURRent?": lambda _words: f"{self._bench.supply_reading()[1]:.3f}",
                "SYSTem:WATChdog": self._take_watchdog,
                "SYSTem:LOCal": lambda _words: None,
            },
        )
        self._watcher = threading.Thread(target=self._watch, name="supply watchdog", daemon=True)
        self._watcher.start()

    def _take(self, what: str, words: str) -> None:
        value = float(words)
        if not 0 <= value <= self._highest[what]:
            raise ValueError(f"{what} {value:g}")
        self._set[what] = value
        if self._set["volts"] > self._set["over_volts"]:
            self._set["volts"] = 0.0
            raise ValueError("volts above their protection")
        self._bench.supply_set(self._set["volts"], self._set["limit"])

    def _take_watchdog(self, words: str) -> None:
        self.watchdog_s = float(words)

    def _output(self, words: str) -> None:
        wanted = {"1": True, "ON": True, "0": False, "OFF": False}.get(words.upper())
        if wanted is None:
            raise ValueError(words)
        if self.obeys:
            self._switch(wanted)

    def _switch(self, wanted: bool) -> None:
        self.is_on = wanted
        self._bench.supply_switch(wanted)

    def carry_out(self, line: str) -> str | bytes | None:
        """Do one command; whatever it hears feeds its watchdog."""
        self._heard_at = time.monotonic()
        return super().carry_out(line)

    def _watch(self) -> None:
        while not self._ended.wait(0.01):
            with self._lock:
                starved = 0 < self.watchdog_s < time.monotonic() - self._heard_at
                if starved and self.is_on:
                    self._switch(False)
                    self.errors.append('301,"Watchdog has opened the output"')

    def open_by_itself(self) -> None:
        """Trip, as an over-voltage or over-current shut-down would."""
        with self._lock:
            self._switch(False)

    def close(self) -> None:
        """End the watchdog too."""
        self._ended.set()
        self._watcher.join(2.0)
        super().close()


class LoadServer(InstrumentServer):
    """A relay box: one relay a load, numbered from 1 in the order of the names.

    Parameters
    ----------
    bench : BenchSide
    names : sequence of str
        Of the bench's loads.
    """

    def __init__(self, bench: BenchSide, *, names: Sequence[str]) -> None:
        self._bench, self._names = bench, tuple(names)
        self._closed_relays: set[int] = set()
        self.welded: int | None = None
        super().__init__(
            identity="SEDGE MIST,RELAY BOX 8,0007,2.0",
            commands={
                "ROUTe:OPEN:ALL": lambda _words: self._open_all(),
                "ROUTe:CLOSe": self._close_relays,
                "ROUTe:CLOSe?": lambda _words: self._state(),
            },
        )

    def _open_all(self) -> None:
        self._closed_relays = set() if self.welded is None else {self.welded}
        self._tell()

    def _close_relays(self, words: str) -> None:
        found = re.fullmatch(r"\(@(\d+(?:,\d+)*)\)", words)
        numbers = [int(number) for number in found[1].split(",")] if found else []
        if not numbers or any(not 1 <= number <= len(self._names) for number in numbers):
            raise ValueError(words)
        self._closed_relays |= set(numbers)
        self._tell()

    def _tell(self) -> None:
        closed = sorted(self._closed_relays)
        self._bench.use_load(self._names[closed[0] - 1] if closed else None)

    def _state(self) -> str:
        return ",".join(str(int(number in self._closed_relays)) for number in range(1, len(self._names) + 1))


class MeterServer(InstrumentServer):
    """A thermometer at the amplifier's heat sink.

    Parameters
    ----------
    bench : BenchSide
    """

    def __init__(self, bench: BenchSide) -> None:
        super().__init__(
            identity="ROWAN SQUALL,THERMOMETER,0031,1.1",
            commands={"READ?": lambda _words: f"TEMP {bench.read_temperature_c():+.2f} C"},
        )


class ScopeServer(InstrumentServer):
    """An oscilloscope of eight bits whose screen shows given tracks.

    Parameters
    ----------
    tracks : mapping of str to NDArray[np.float64] of shape (n_samples,)
        Volts, by channel.
    rate_hz : float, Hz
    """

    def __init__(self, tracks: Mapping[str, NDArray[np.float64]], *, rate_hz: float) -> None:
        self._tracks, self._rate_hz = dict(tracks), rate_hz
        self._chosen = next(iter(self._tracks))
        self._polls = 0
        super().__init__(
            identity="ALDER HAZE,SCOPE 4,0102,3.2",
            commands={
                "SINGle": lambda _words: self._begin(),
                "ACQuire:DONE?": lambda _words: self._is_done(),
                "WAVeform:SOURce": self._choose,
                "WAVeform:PREamble?": lambda _words: self._preamble(),
                "WAVeform:DATA?": lambda _words: self._data(),
            },
        )

    def _begin(self) -> None:
        self._polls = 0

    def _is_done(self) -> str:
        self._polls += 1
        return str(int(self._polls > 1))

    def _choose(self, words: str) -> None:
        if words not in self._tracks:
            raise ValueError(words)
        self._chosen = words

    def step_v(self, name: str) -> float:
        """Give the size of one code of a channel, V: its largest value is 100 codes."""
        return float(np.max(np.abs(self._tracks[name]), initial=0.0)) / 100 or 1.0

    def _preamble(self) -> str:
        n_points = self._tracks[self._chosen].size
        return f"BYTE,{n_points},{1 / self._rate_hz:.9e},{self.step_v(self._chosen):.12e},128,0.0"

    def _data(self) -> bytes:
        codes = np.round(self._tracks[self._chosen] / self.step_v(self._chosen)) + 128
        payload = codes.astype(np.uint8).tobytes()
        count = str(len(payload)).encode()
        return b"#%d%s%s" % (len(count), count, payload)
