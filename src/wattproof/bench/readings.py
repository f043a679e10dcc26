"""Readings typed from meters: the text of `readings.csv` to checked rows."""

from typing import Literal, get_args

from pydantic import Field

from wattproof.bench.model import Read
from wattproof.settings import Column, Fault, Part, Row, nearest, read_table, settings_error

ReadingKind = Literal["steady", "idle", "burst", "hold"]

# Column of each quantity a meter reads. An alternating voltage or current is r.m.s. by definition, a supply's a mean.
QUANTITY_COLUMNS: dict[Read, str] = {
    "load_voltage": "load_voltage_v",
    "load_current": "load_current_a",
    "supply_voltage": "supply_voltage_v",
    "supply_current": "supply_current_a",
    "drive_voltage": "drive_voltage_v",
    "power": "power_w",
    "thd": "thd_percent",
    "thd_f": "thd_f_percent",
    "frequency": "frequency_hz",
}
_SIGNED = {"supply_current_a", "power_w"}
_METER_COLUMNS = {
    alias: quantity
    for quantity, column in QUANTITY_COLUMNS.items()
    for alias in (f"{quantity}_meter", f"{column}_meter")
}
_COLUMNS = [
    Column(name="output", numeric=False),
    Column(name="load", numeric=False),
    Column(name="kind", numeric=False),
    Column(name="frequency_hz", above=0.0),
    *(
        Column(name=name, least=None if name in _SIGNED else 0.0)
        for name in QUANTITY_COLUMNS.values()
        if name != "frequency_hz"
    ),
    Column(name="note", numeric=False),
    *(Column(name=name, numeric=False) for name in _METER_COLUMNS),
]


class ReadingRow(Part):
    """One line of readings taken at the same time; None where a cell is blank."""

    line: int = Field(ge=1, description="line of the file, counted from 1")
    output: str = "A"
    load: str | None = Field(default=None, description="a load's name, plain ohms, or open")
    kind: ReadingKind = "steady"
    frequency_hz: float | None = None
    load_voltage_v: float | None = Field(default=None, description="r.m.s.")
    load_current_a: float | None = Field(default=None, description="r.m.s.")
    supply_voltage_v: float | None = Field(default=None, description="mean")
    supply_current_a: float | None = Field(default=None, description="mean")
    drive_voltage_v: float | None = Field(default=None, description="r.m.s. at the amplifier's input")
    power_w: float | None = Field(default=None, description="of a wattmeter")
    thd_percent: float | None = Field(default=None, description="distortion plus noise, as a notch meter reads")
    thd_f_percent: float | None = Field(default=None, description="harmonics only, over the fundamental")
    note: str | None = None
    meters: dict[Read, str] = Field(default_factory=dict, description="meter of a quantity, where it is named")
    steps: dict[Read, float] = Field(default_factory=dict, description="one count of the last digit typed")

    @property
    def quantities(self) -> tuple[Read, ...]:
        """Quantities that were typed."""
        return tuple(quantity for quantity in QUANTITY_COLUMNS if self.reading(quantity) is not None)

    def reading(self, quantity: Read) -> float | None:
        """Give what was typed for a quantity, in the column's own unit; None where the cell is blank."""
        value: float | None = getattr(self, QUANTITY_COLUMNS[quantity])
        return value


def parse_readings(text: str, *, file: str) -> tuple[ReadingRow, ...]:
    r"""Read the text of a `readings.csv`.

    The first line names the columns, in any order: output, load, frequency_hz, kind, load_voltage_v, load_current_a,
    supply_voltage_v, supply_current_a, drive_voltage_v, thd_percent, thd_f_percent, power_w, note, and
    ``load_voltage_meter`` and so on for the meter that was read. Voltages and currents of load and drive are r.m.s.
    by definition, those of the supply means; blank cells are unknown.

    Parameters
    ----------
    text : str
        Content of the file; cells separated by commas, semicolons or tabs; a decimal comma with the latter two.
    file : str
        Its name, for messages.

    Returns
    -------
    tuple of ReadingRow

    Raises
    ------
    SettingsError
        An unknown column, a cell of the wrong shape: each with line, column and what would be right, all at once.

    Examples
    --------
    >>> row = parse_readings("load;load_voltage_v;load_current_a\n4 ohm;14,58;3,62\n", file="readings.csv")[0]
    >>> row.load_voltage_v, row.steps["load_voltage"], row.supply_voltage_v
    (14.58, 0.01, None)
    """
    rows, faults = read_table(text, columns=_COLUMNS, advise=_advice)
    made = [_reading_row(row, faults) for row in rows]
    if not rows and not faults:
        faults.append(Fault(line=0, what="no reading stands under the names of the columns", cure="type one line"))
    if faults:
        raise settings_error(file, faults)
    return tuple(made)


def _reading_row(row: Row, faults: list[Fault]) -> ReadingRow:
    words = dict(row.words)
    kind = words.get("kind", "steady").lower()
    kinds = get_args(ReadingKind)
    if kind not in kinds:
        close = nearest(kind, kinds)
        cure = f"write {close}" if close else f"the kinds are {', '.join(kinds)}"
        faults.append(Fault(line=row.line, column=row.columns["kind"], what=f'kind is "{words["kind"]}"', cure=cure))
        kind = "steady"
    plain = {key: value for key, value in words.items() if key in {"output", "load", "note"}}
    return ReadingRow.model_validate(
        {
            **plain,
            **row.numbers,
            "line": row.line,
            "kind": kind,
            "meters": {_METER_COLUMNS[key]: name for key, name in words.items() if key in _METER_COLUMNS},
            "steps": {
                quantity: row.steps[column] for quantity, column in QUANTITY_COLUMNS.items() if column in row.steps
            },
        }
    )


def _advice(name: str) -> str | None:
    """Say what to do with a peak reading: it is no r.m.s. value, and only the person knows the wave it came from."""
    parts = set(name.replace("-", "_").replace("(", "_").replace(")", "_").split("_"))
    if not parts & {"peak", "pk", "max", "pp", "pkpk", "vpp", "vpk", "vp"}:
        return None
    return (
        "type r.m.s. values: for a clean sine a peak divided by 1.41421, peak to peak by 2.82843; "
        "a clipped or lopsided wave needs a true-r.m.s. meter or a recording"
    )
