"""How arrays say their clock: by a rate, by an interval or by a time for each sample."""

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wattproof.errors import BrokenFileError, Notice

SECONDS = {"": 1.0, "s": 1.0, "sec": 1.0, "second": 1.0, "seconds": 1.0, "ms": 1e-3, "us": 1e-6, "µs": 1e-6, "ns": 1e-9,
           "ps": 1e-12}  # fmt: skip
SLOWEST_HZ, FASTEST_HZ = 1e-30, 1e30  # beyond is no clock but a broken number, and its inverse may overflow
HERTZ = {"": 1.0, "hz": 1.0, "khz": 1e3, "mhz": 1e6}

_RATE = re.compile(
    r"(?:fs|sr|rate|f_?samp(?:le)?|sampl(?:e|es|ing)_?(?:rate|frequency|freq)|samples_per_second)_?(hz|khz|mhz)?"
)
_STEP = re.compile(
    r"(?:dt|ts|delta_?t|(?:t|time)_?step|sampl(?:e|ing)_?(?:interval|period|time))_?(s|sec|seconds|ms|us|ns|ps)?"
)
_TIME = re.compile(r"(?:t|time|times|timestamps?)_?(s|sec|seconds|ms|us|ns|ps)?")
_START = re.compile(r"(?:t_?0|t_?start|start_?(?:time)?)_?(s|sec|seconds|ms|us|ns|ps)?")


@dataclass(frozen=True, kw_only=True)
class Clock:
    """Samples a second, the time of the first one, and what is doubtful about it."""

    rate_hz: float
    start_s: float = 0.0
    notices: tuple[Notice, ...] = ()


def _match(pattern: re.Pattern[str], name: str) -> str | None:
    found = pattern.fullmatch(name.strip().lower().replace(" ", "_").replace("-", "_"))
    return None if found is None else found.group(1) or ""


def is_time(name: str) -> bool:
    """Whether an array of that name holds a time for each sample."""
    return _match(_TIME, name) is not None


def unit_in_name(name: str) -> str:
    """Give the time unit that a name such as ``time_ms`` ends in, or nothing."""
    return _match(_TIME, name) or ""


def rate_of(name: str, value: float) -> float | None:
    """Give samples a second if a number of that name is a rate or an interval; None if it is neither."""
    if not SLOWEST_HZ < value < FASTEST_HZ:
        return None
    if (unit := _match(_RATE, name)) is not None:
        return float(value * HERTZ[unit])
    if (unit := _match(_STEP, name)) is not None:
        return float(1.0 / (value * SECONDS[unit]))
    return None


def start_of(name: str, value: float) -> float | None:
    """Give the time of the first sample, seconds, if a number of that name is one."""
    unit = _match(_START, name)
    return None if unit is None or not np.isfinite(value) else float(value * SECONDS[unit])


def clock_of_times(times: NDArray[np.float64], *, name: str, unit: str, source: str) -> Clock:
    """Give the clock that a time for each sample implies.

    The rate comes from the ends, never from a single step: ``(n - 1) / (last - first)``.

    Parameters
    ----------
    times : NDArray[np.float64] of shape (n_samples,)
        In `unit`; "" where nobody says, which is read as seconds with a notice.

    Raises
    ------
    BrokenFileError
        The times are no numbers, do not rise, or there are fewer than two.
    """
    with np.errstate(all="ignore"):  # what overflows or is no number is refused below
        seconds = times * SECONDS[unit]
        span_s = float(seconds[-1] - seconds[0]) if seconds.size > 1 else 0.0
    if not np.isfinite(seconds).all() or not seconds.size * SLOWEST_HZ < span_s < seconds.size * FASTEST_HZ:
        raise BrokenFileError(
            f"The times in {source} do not rise.",
            why=f"{name!r} goes from {times[0]:g} to {times[-1]:g} in {times.size} samples.",
            hint="Leave it out with --time-column 0 and state the rate with --rate-hz.",
        )
    steps = np.diff(seconds)
    rate_hz = (seconds.size - 1) / span_s
    notices = [] if unit else [_assumed(name)]
    if (steps < 0).any():
        raise BrokenFileError(
            f"The times in {source} run backwards.",
            why=f"{name!r} falls at {int((steps < 0).sum())} of {steps.size} steps: several records follow each other?",
            hint="Save each record on its own.",
        )
    off = float(np.abs(seconds - (seconds[0] + np.arange(seconds.size) / rate_hz)).max()) * rate_hz
    if off > 0.5:
        notices.append(_uneven(name, off, steps))
    return Clock(rate_hz=rate_hz, start_s=float(seconds[0]), notices=tuple(notices))


def _assumed(name: str) -> Notice:
    return Notice(
        code="time-unit-assumed",
        message=f"The file does not say the unit of {name!r}: read as seconds.",
        hint="If that is wrong, state it with --time-unit.",
    )


def _uneven(name: str, off: float, steps: NDArray[np.float64]) -> Notice:
    return Notice(
        code="uneven-time",
        message=(
            f"The times {name!r} are not evenly spaced: steps from {steps.min():.6g} to {steps.max():.6g} s, up to "
            f"{off:.3g} samples away from an even clock."
        ),
        hint="Frequencies and phases will be wrong: export the record with a fixed rate.",
        numbers={"largest_deviation_samples": off, "shortest_step_s": float(steps.min())},
    )
