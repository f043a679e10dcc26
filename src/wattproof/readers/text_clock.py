"""The sample rate of a text capture, from its time column and its preamble together, and every doubt about it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wattproof.errors import BrokenFileError, Notice

# Ratio of the 32-bit float's step to its value: times kept by an exporter in single precision are rounded to it.
_SINGLE = 2.0**-23
# Stamps this near to a straight line, in steps, are on it: less jitter than any recorder's clock would be measured by.
_EVEN = 0.002
# Rounded stamps: a straight line through all of them is nearer to the clock than the two at the ends.
_FITTED = frozenset({"repeated-time", "coarse-time"})


@dataclass(frozen=True, kw_only=True)
class Clock:
    """Rate and start of a record, and what is doubtful about them."""

    rate_hz: float
    start_s: float
    notices: tuple[Notice, ...] = ()


def digits_s(cells: list[str], exponent: int) -> tuple[float, int]:
    """Give the smallest printed step of some time cells, in seconds, and how many digits their longest has.

    Parameters
    ----------
    cells : list of str
        As printed, decimal mark "." or ",".
    exponent : int
        Power of ten of their unit.
    """
    places: list[int] = []
    digits: list[int] = []
    for cell in cells:
        mantissa, _, power = cell.lower().replace(",", ".").partition("e")
        whole, _, part = mantissa.lstrip("+-").partition(".")
        if not (whole + part).isdigit():
            continue
        places.append((int(power) if power.lstrip("+-").isdigit() else 0) - len(part))
        digits.append(len((whole + part).lstrip("0")) or 1)
    if not places:
        return 0.0, 17
    if len(set(places)) == 1 and not any("e" in cell.lower() for cell in cells):
        return 10.0 ** (places[0] + exponent), 17  # fixed decimals: the last one weighs the same in every row
    return 10.0 ** (min(places) + exponent), max(digits)


def quantum_s(times_s: NDArray[np.float64], smallest_s: float, digits: int) -> NDArray[np.float64]:
    """Give how far each time may be from what the clock said: its last printed digit, or its single-precision step.

    Parameters
    ----------
    times_s : NDArray[np.float64] of shape (n,)
    smallest_s : float
        Smallest printed step.
    digits : int
        Significant digits printed at most.

    Returns
    -------
    NDArray[np.float64] of shape (n,)
    """
    with np.errstate(divide="ignore"):
        decade = np.floor(np.log10(np.abs(times_s)))
    by_digits = np.where(np.isfinite(decade), 10.0 ** (np.where(np.isfinite(decade), decade, 0) - digits + 1), 0.0)
    printed = np.maximum(by_digits, smallest_s)
    return np.maximum(printed, _SINGLE * np.abs(times_s)) if _is_single(times_s, printed) else printed


def _is_single(times_s: NDArray[np.float64], printed: NDArray[np.float64]) -> bool:
    """Say whether all times are single-precision numbers, in seconds or a smaller unit, as far as their digits show."""
    for per_second in (1.0, 1e3, 1e6, 1e9):
        with np.errstate(over="ignore"):
            single = (times_s * per_second).astype(np.float32).astype(np.float64)
        if np.all(np.abs(single - times_s * per_second) <= printed * per_second):
            return True
    return False


def clock_of_column(
    times_s: NDArray[np.float64],
    lines: NDArray[np.int64],
    *,
    smallest_s: float,
    digits: int,
    stated_step_s: float | None,
    stated_by: str,
    source: str,
) -> Clock:
    """Take the rate from a time column, checked against what the preamble states.

    The rate is ``(n - 1) / (t_last - t_first)``, never the first difference; a stated rate that
    agrees with it is finer and wins.

    Parameters
    ----------
    times_s : NDArray[np.float64] of shape (n,), n >= 2
    lines : NDArray[np.int64] of shape (n,)
        Line number of each row, for messages.
    smallest_s, digits
        As `digits_s` gives them.
    stated_step_s : float or None
        What the preamble says.
    stated_by : str
        Where it says so, for messages.
    source : str
        The file's name, for messages.

    Raises
    ------
    BrokenFileError
        Time is missing, stands still or runs backwards.
    """
    _refuse_holes(times_s, lines, source)
    with np.errstate(over="ignore"):
        steps = np.diff(times_s)
        span_s = float(times_s[-1]) - float(times_s[0])
    lowest, highest = float(steps.min()), float(steps.max())
    if lowest < 0 or span_s <= 0:
        _refuse_backwards(times_s, steps, lines, source)
    step_s = span_s / steps.size
    if not (np.isfinite(1 / span_s) and np.isfinite(span_s) and np.isfinite(1 / step_s)):
        _refuse_backwards(times_s, steps, lines, source)
    notices: list[Notice] = []
    if stated_step_s is not None:
        step_s, notices = _against_stated(times_s, step_s, stated_step_s, stated_by, smallest_s, digits)
    own_s = span_s / steps.size
    # Most files end here: every step the same to a thousandth, and no sum of small errors along the record.
    even = highest - lowest <= 1e-3 * own_s
    away_s = np.abs(times_s[::97] - times_s[0] - np.arange(0, times_s.size, 97) * own_s)
    if not (even and float(away_s.max()) < _EVEN * own_s):
        found = _doubts(times_s, steps, lines, own_s, smallest_s, digits)
        if found and found[0].code in _FITTED and stated_step_s != step_s:
            step_s = found[0].numbers["step_s"]
        notices += found
    return Clock(rate_hz=1 / step_s, start_s=float(times_s[0]), notices=tuple(notices))


def _refuse_holes(times_s: NDArray[np.float64], lines: NDArray[np.int64], source: str) -> None:
    finite = np.isfinite(times_s)
    if finite.all():
        return
    line = int(lines[int(np.flatnonzero(~finite)[0])])
    raise BrokenFileError(
        f"{source} has a row without a time.",
        why=f"The time in line {line} is blank or no number.",
        hint="Mend that line, or read without the time column: --time-column 0 --rate-hz with the sample rate.",
    )


def _refuse_backwards(
    times_s: NDArray[np.float64], steps: NDArray[np.float64], lines: NDArray[np.int64], source: str
) -> None:
    falls = np.flatnonzero(steps < 0)
    row = int(falls[0]) + 1 if falls.size else 1
    before, after = float(times_s[row - 1]), float(times_s[row])
    why = f"Time falls from {before:.9g} s to {after:.9g} s at line {int(lines[row])}, and {falls.size} times in all."
    hint = "Read without the time column: --time-column 0 --rate-hz with the sample rate."
    if not falls.size and times_s[-1] != times_s[0]:
        why = f"Time runs from {float(times_s[0]):.9g} s to {float(times_s[-1]):.9g} s: no sample rate has that."
    elif not falls.size:
        why = f"All {times_s.size} rows have the time {before:.9g} s."
    elif falls.size == 1 and before > 0 and 0.0005 < after / before < 0.005:
        why += " It looks as though its unit changes there by a factor of 1000."
    elif falls.size < steps.size / 2 and abs(after - float(times_s[0])) <= abs(float(steps[0])):
        why += " The same times start again there: the file holds several records."
        hint = "Save each record as its own file."
    raise BrokenFileError(f"{source} has a time column that cannot be a clock.", why=why, hint=hint)


def _against_stated(
    times_s: NDArray[np.float64], step_s: float, stated_s: float, stated_by: str, smallest_s: float, digits: int
) -> tuple[float, list[Notice]]:
    ends = quantum_s(times_s[[0, -1]], smallest_s, digits)
    span_s = float(times_s[-1] - times_s[0])
    allowed = float(ends.sum()) / span_s + 1e-6
    if abs(stated_s / step_s - 1) <= allowed:
        return stated_s, []
    notice = Notice(
        code="rate-contradicts",
        message=f"The file states {1 / stated_s:.9g} Hz ({stated_by}), its time column gives {1 / step_s:.9g} Hz; "
        "the time column is used.",
        hint="If the stated rate is right, say so with --rate-hz; a time column slower than the stated rate may be a "
        "thinned export of what the screen showed.",
        numbers={"stated_hz": 1 / stated_s, "column_hz": 1 / step_s},
    )
    return step_s, [notice]


def _doubts(
    times_s: NDArray[np.float64],
    steps: NDArray[np.float64],
    lines: NDArray[np.int64],
    step_s: float,
    smallest_s: float,
    digits: int,
) -> list[Notice]:
    """Tell apart: too few digits, repeated stamps, a drifting step, an uneven record."""
    away_s = np.abs(times_s - times_s[0] - np.arange(times_s.size) * step_s)
    quantum = quantum_s(times_s, smallest_s, digits)
    close = np.all(away_s <= quantum + max(quantum[0], quantum[-1]) + _EVEN * step_s)
    # Rounding moves a step by one last digit at most: a step further off is a row left out.
    if close and np.all(np.abs(steps - step_s) <= 1.01 * np.maximum(quantum[1:], quantum[:-1]) + 0.01 * step_s):
        return _rounded(steps, times_s, quantum, step_s)
    worst = int(np.argmax(away_s))
    local = float(np.percentile(np.abs(np.diff(steps)), 95)) if steps.size > 1 else 0.0
    if local <= 0.05 * step_s + 2 * float(quantum.max()) and float(steps.max()) < 1.5 * step_s < 3 * float(steps.min()):
        return [_drifting(times_s, steps, away_s, int(lines[worst]), step_s)]
    return [_uneven(steps, lines, step_s)]


def _rounded(
    steps: NDArray[np.float64], times_s: NDArray[np.float64], quantum: NDArray[np.float64], step_s: float
) -> list[Notice]:
    repeated = int(np.count_nonzero(steps == 0))
    lowest, highest = float(steps.min()), float(steps.max())
    fitted_s = _slope_s(times_s)
    doubt = float(quantum.max()) / float(times_s[-1] - times_s[0])
    ends = f"the rate {1 / fitted_s:.9g} Hz is from a line through all of them, within {1e6 * doubt:.2g} ppm"
    numbers = {"step_min_s": lowest, "step_max_s": highest, "step_s": fitted_s, "rate_u_ratio": doubt}
    if repeated:
        message = f"{repeated} of {steps.size} time stamps repeat the one before: too few digits; {ends}."
        return [_clock_notice("repeated-time", message, {**numbers, "repeated": repeated})]
    if highest - lowest <= 0.01 * step_s:
        return []
    message = f"Time is printed with too few digits (steps from {lowest:.6g} to {highest:.6g} s); {ends}."
    return [_clock_notice("coarse-time", message, numbers)]


def _slope_s(times_s: NDArray[np.float64]) -> float:
    """Give the step of the least-squares line through the stamps."""
    index = np.arange(times_s.size) - (times_s.size - 1) / 2
    return float(index @ (times_s - times_s.mean())) / float(index @ index)


def _clock_notice(code: str, message: str, numbers: dict[str, float]) -> Notice:
    return Notice(
        code=code, message=message, hint="If you know the sample rate exactly, say it with --rate-hz.", numbers=numbers
    )


def _drifting(
    times_s: NDArray[np.float64], steps: NDArray[np.float64], away_s: NDArray[np.float64], line: int, step_s: float
) -> Notice:
    tenth = max(1, steps.size // 10)
    first, last = float(steps[:tenth].mean()), float(steps[-tenth:].mean())
    return Notice(
        code="drifting-time",
        message=f"The time step drifts from {first:.9g} s to {last:.9g} s; the stamps leave an even clock by up to "
        f"{float(away_s.max()) / step_s:.3g} steps (line {line}). The mean rate {1 / step_s:.9g} Hz is used.",
        hint="If the recorder's clock is even, say its rate with --rate-hz; summing rounded steps drifts like this.",
        numbers={
            "first_step_s": first,
            "last_step_s": last,
            "worst_steps": float(away_s.max()) / step_s,
            "line_fit_rate_hz": 1 / _slope_s(times_s),
        },
    )


def _uneven(steps: NDArray[np.float64], lines: NDArray[np.int64], step_s: float) -> Notice:
    lowest, middle, highest = float(steps.min()), float(np.median(steps)), float(steps.max())
    at = int(lines[int(np.argmax(steps)) + 1])
    smallest = float(steps[steps > 0].min())
    counts = steps / smallest
    whole = bool(np.all(np.abs(counts - np.round(counts)) < 0.02)) and smallest < 0.9 * highest
    story = ""
    if whole:
        story = (
            f" All steps are whole multiples of {smallest:.6g} s: rows were left out where nothing changed, or lost."
        )
    return Notice(
        code="uneven-time",
        message=f"The rows are not evenly spaced: steps of {lowest:.6g} to {highest:.6g} s (longest before line {at}), "
        f"median {middle:.6g} s.{story} The mean rate {1 / step_s:.6g} Hz is no clock.",
        hint="Look at it, but do not measure frequency or distortion on it; export all samples, evenly spaced.",
        numbers={"step_min_s": lowest, "step_median_s": middle, "step_max_s": highest, "rate_hz": 1 / step_s},
    )
