"""Typed meter readings in, figures out: one result a line, each with the uncertainty its meters leave."""

from collections.abc import Sequence

from wattproof.amplifier import Amplifier
from wattproof.bench import (
    OPEN_WORDS,
    Bench,
    Meter,
    NamedLoad,
    Read,
    ReadingRow,
    UnknownLoad,
    UnknownMeter,
    find_load,
    find_meter,
)
from wattproof.measure.model import CaptureResult
from wattproof.measure.typed_across import output_resistance, source_resistance
from wattproof.measure.typed_figures import row_figures
from wattproof.measure.typed_notices import row_notices
from wattproof.measure.typed_row import TypedRow
from wattproof.settings import Fault, nearest, settings_error


def measure_readings(
    rows: Sequence[ReadingRow], *, bench: Bench, amplifier: Amplifier | None = None, file: str
) -> tuple[CaptureResult, ...]:
    r"""Measure everything that typed readings allow.

    Volts and amperes of load and drive are r.m.s. values by definition, those of the supply means. Volts times
    amperes are apparent power; they become power only in one of the bench's calibrated resistors, and only where
    their ratio is its resistance. The supply's resistance, from how its voltage falls with its current over the rows,
    stands with the last row that has both.

    Parameters
    ----------
    rows : sequence of ReadingRow
        From `parse_readings`.
    bench : Bench
        Names loads and meters.
    amplifier : Amplifier or None
        Its outputs and least load are compared with the rows.
    file : str
        Name of the file, for origins and messages.

    Returns
    -------
    tuple of CaptureResult
        One a row, in order, of kind ``readings``.

    Raises
    ------
    SettingsError
        A load, meter or output that the bench or the amplifier does not have: each with its line, all at once.

    Examples
    --------
    >>> from wattproof.bench import parse_readings
    >>> rows = parse_readings("load,load_voltage_v\n4 ohm,10.0\n", file="readings.csv")
    >>> result, = measure_readings(rows, bench=Bench(), file="readings.csv")
    >>> result.figure("load_power_v2r").value, [notice.code for notice in result.warnings]
    (25.0, ['no-meter', 'nominal-load'])
    """
    typed = _on_bench(rows, bench, amplifier, file)
    source, source_notices = source_resistance(typed)
    source_ohm = None if source is None else source.value
    with_supply = [row for row in typed if None not in (row.row.supply_voltage_v, row.row.supply_current_a)]
    results = []
    for row in typed:
        figures = row_figures(row, source_ohm=source_ohm)
        across, notices = output_resistance(row, typed)
        notices = [*row_notices(row, figures, amplifier=amplifier, source_ohm=source_ohm), *notices]
        figures += across
        if with_supply and row is with_supply[-1]:
            figures += [] if source is None else [source]
            notices += source_notices
        results.append(CaptureResult(file=file, kind="readings", figures=tuple(figures), warnings=tuple(notices)))
    return tuple(results)


def _on_bench(rows: Sequence[ReadingRow], bench: Bench, amplifier: Amplifier | None, file: str) -> tuple[TypedRow, ...]:
    faults: list[Fault] = []
    typed = []
    for row in rows:
        is_open = row.load is not None and row.load.lower() in OPEN_WORDS
        typed.append(
            TypedRow(
                row=row,
                bench=bench,
                file=file,
                named=None if is_open else _load(row, bench, faults),
                is_open=is_open,
                meters=_meters(row, bench, faults),
            )
        )
        if amplifier is not None and row.output not in amplifier.outputs:
            close = nearest(row.output, amplifier.outputs) or " or ".join(amplifier.outputs)
            what = f'the amplifier has no output "{row.output}"'
            faults.append(Fault(line=row.line, what=what, cure=f"write {close}, or add it to outputs"))
    if faults:
        raise settings_error(file, faults)
    return tuple(typed)


def _load(row: ReadingRow, bench: Bench, faults: list[Fault]) -> NamedLoad | None:
    if row.load is None:
        return None
    found = find_load(bench, row.load)
    if isinstance(found, UnknownLoad):
        faults.append(Fault(line=row.line, what=f'"{row.load}" is no load of this bench', cure=found.cure))
        return None
    return found


def _meters(row: ReadingRow, bench: Bench, faults: list[Fault]) -> dict[Read, Meter]:
    meters: dict[Read, Meter] = {}
    for quantity in row.quantities:
        name = row.meters.get(quantity)
        found = find_meter(bench, quantity, name=name, frequency_hz=row.frequency_hz)
        if isinstance(found, UnknownMeter):
            faults.append(Fault(line=row.line, what=found.what, cure=found.cure))
        elif found is not None:
            meters[quantity] = found
    return meters
