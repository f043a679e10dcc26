"""One line of typed readings on its bench: each reading an uncertain number, each figure with its conditions."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from math import hypot

from wattproof.bench import (
    Bench,
    Load,
    Meter,
    MeterDoubt,
    NamedLoad,
    Read,
    ReadingRow,
    meter_uncertainty,
    power_factor_of,
    resistance_of,
)
from wattproof.measure.model import Condition, Figure
from wattproof.quantity import Ledger, Uncertain

_PERCENT = {"thd", "thd_f"}


@dataclass(frozen=True, kw_only=True, eq=False)
class TypedRow:
    """A row with the load and the meters that its words name.

    Attributes
    ----------
    row : ReadingRow
    bench : Bench
    file : str
        Name of the file, for origins and sources.
    named : NamedLoad or None
        None where the load is unknown or the output was open.
    is_open : bool
        Nothing was connected to the output.
    meters : mapping of quantity to Meter
        Quantities without a meter are left out.
    """

    row: ReadingRow
    bench: Bench
    file: str
    named: NamedLoad | None
    is_open: bool
    meters: Mapping[Read, Meter]
    ledger: Ledger = field(default_factory=Ledger)

    @property
    def origin(self) -> str:
        """File and line."""
        return f"{self.file} line {self.row.line}"

    @property
    def load(self) -> Load | None:
        """The load connected, calibrated or nominal."""
        return None if self.named is None else self.named.load

    @cached_property
    def doubts(self) -> dict[Read, MeterDoubt]:
        """Standard uncertainty of every reading typed, the column's units."""
        found = {}
        for quantity in self.row.quantities:
            # without a meter only the digits typed are known; a bare meter of that name stands for them
            meter = self.meters.get(quantity) or Meter(name="unknown", quantity=quantity)
            reading, step = self.row.reading(quantity) or 0.0, self.row.steps.get(quantity, 0.0)
            found[quantity] = meter_uncertainty(meter, reading, self.row.frequency_hz, step=step)
        return found

    def number(self, quantity: Read, *, ledger: Ledger | None = None) -> Uncertain | None:
        """Uncertain number of a reading, SI units and plain ratios; None where the cell is blank."""
        reading = self.row.reading(quantity)
        if reading is None:
            return None
        book, per = self.ledger if ledger is None else ledger, 100.0 if quantity in _PERCENT else 1.0
        doubt = self.doubts[quantity]
        place, label = f"{self.origin}: {quantity}", f"{quantity}, line {self.row.line}"
        own = book.source(f"{place} digits", 0.0, doubt.own / per, label=f"digits of {label}", kind="B")
        last = book.source(f"{place} resolution", 0.0, doubt.resolution / per, label=f"last digit of {label}", kind="B")
        return reading / per + self._meter_error(quantity, doubt.shared / per, book) + own + last

    def _meter_error(self, quantity: Read, u: float, book: Ledger) -> Uncertain:
        """Give what this meter gets wrong in the same direction in every reading: one source for all."""
        if u == 0:
            return 0.0
        name = self.meters[quantity].name
        source = f"bench {self.bench.name}: meter {name}: {quantity} accuracy"
        return u * book.source(source, 0.0, 1.0, label=f"accuracy of {name}, {quantity}", kind="B")

    def own_u(self, quantity: Read) -> float:
        """Give the standard uncertainty of a reading that no other reading shares, the column's unit."""
        doubt = self.doubts[quantity]
        return hypot(doubt.own, doubt.resolution)

    def resistance(self, *, ledger: Ledger | None = None) -> Uncertain | None:
        """Uncertain resistance of the load, ohm; a nominal one carries no uncertainty, which a notice says."""
        if self.load is None:
            return None
        book = self.ledger if ledger is None else ledger
        return resistance_of(self.load, bench_name=self.bench.name, ledger=book)

    @property
    def power_factor(self) -> float:
        """R/|Z| of the load at the row's frequency, W/VA; 1 without a load or a frequency."""
        return 1.0 if self.load is None else power_factor_of(self.load, self.row.frequency_hz)

    def conditions(self, **more: Condition) -> dict[str, Condition]:
        """Conditions common to this row's figures."""
        found: dict[str, Condition] = {"kind": self.row.kind}
        if self.row.frequency_hz is not None:
            found["frequency_hz"] = self.row.frequency_hz
        if self.load is not None:
            found |= {"load": self.load.name, "load_ohm": self.load.resistance_ohm}
        if self.is_open:
            found["load"] = "open"
        if self.row.supply_voltage_v is not None:
            found["supply_v"] = self.row.supply_voltage_v
        return {**found, **more}

    def figure(
        self, name: str, number: Uncertain, unit: str, *, whole: bool = False, **conditions: Condition
    ) -> Figure:
        """Freeze a number as a figure of the row's output, or of the amplifier as a `whole`."""
        quantity = self.ledger.quantity(number, unit=unit)
        return Figure(
            **dict(quantity),
            name=name,
            output=None if whole else self.row.output,
            conditions=self.conditions(**conditions),
            origin=self.origin,
        )
