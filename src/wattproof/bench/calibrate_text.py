"""Calibration points from text, and the lines for the bench file."""

from datetime import date

from wattproof.bench.calibrate import Calibration
from wattproof.bench.model import Role
from wattproof.settings import Column, Fault, read_table, settings_error, toml_value

_COLUMNS = (Column(name="reference"), Column(name="reading"))


def parse_calibration(text: str, *, file: str) -> tuple[tuple[float, float], ...]:
    r"""Read calibration points: a table with the columns reference and reading.

    Parameters
    ----------
    text : str
        Content of the file; cells separated by commas, semicolons or tabs.
    file : str
        Its name, for messages.

    Returns
    -------
    tuple of (reference, reading)
        Reference in engineering units, reading in the channel's file units.

    Raises
    ------
    SettingsError
        A wrong or missing column, a cell that is blank or no number: each with its line, all at once.

    Examples
    --------
    >>> parse_calibration("reading,reference\n0.5,21.02\n-0.5,-20.98\n", file="points.csv")
    ((21.02, 0.5), (-20.98, -0.5))
    """
    rows, faults = read_table(text, columns=_COLUMNS, required=("reference", "reading"))
    for row in rows:
        for name in ("reference", "reading"):
            blank = name in row.columns and name not in row.numbers
            if blank and not any(fault.line == row.line for fault in faults):
                what = f"{name} is blank"
                faults.append(
                    Fault(line=row.line, column=row.columns[name], what=what, cure="read it, or delete the line")
                )
    if faults:
        raise settings_error(file, faults)
    return tuple((row.numbers["reference"], row.numbers["reading"]) for row in rows)


def calibration_toml(
    line: Calibration,
    *,
    input: int | str,
    role: Role,
    output: str = "A",
    calibrated: date | None = None,
) -> str:
    r"""Write a calibration as a ``[[channels]]`` table to paste into the bench file.

    The file keeps scale and offset with separate uncertainties, taken as independent and as exactly known. To lose
    nothing on the unsafe side, the scatter's part is widened by t(95 %)/1.96 for its few degrees of freedom, and for
    a channel that swings through zero both are widened by sqrt(1 + abs(r)) for their correlation r. A supply channel
    reads on one side of zero, where leaving a correlation of the opposite sign out is on the safe side already.

    Parameters
    ----------
    line : Calibration
    input : int or str
        Track, column or header name of the channel.
    role : Role
        What the channel records.
    output : str
        Amplifier output, for load_voltage and load_current.
    calibrated : date or None
        Day of the calibration.
    """
    reads_one_side = role.startswith("supply") and line.correlation * line.mean_reading <= 0
    swings = not reads_one_side
    settings: dict[str, object] = {"input": input, "role": role}
    settings |= {"output": output} if role.startswith("load") else {}
    settings |= {
        "scale": _short(line.scale, line.scale_u * abs(line.scale)),
        "offset": _short(line.offset, line.offset_u),
        "scale_u": float(f"{line.stored_scale_u(swings=swings):.3g}"),
        "offset_u": float(f"{line.stored_offset_u(swings=swings):.3g}"),
    }
    settings |= {"calibrated": calibrated} if calibrated else {}
    head = (
        f"# line through {len(line.readings)} points, readings {min(line.readings):g} to {max(line.readings):g}; "
        f"scatter {line.residual_sd:.3g}, correlation of scale and offset {line.correlation:.2f}\n"
    )
    return head + "[[channels]]\n" + "".join(f"{key} = {toml_value(value)}\n" for key, value in settings.items())


def _short(value: float, u: float) -> float:
    """Round to a hundredth of the uncertainty, so that rounding adds nothing; as it is where there is none."""
    if u <= 0:
        return value
    return round(value, 2 - int(f"{u:e}".partition("e")[2]) + 1)
