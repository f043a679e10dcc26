"""From the named arrays of a file to a recording: which are sound, which are the clock, and what must be asked."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from wattproof.errors import NeedsAnswerError, NotAWaveformError, Notice
from wattproof.readers.arrays import ArrayLike, ArrayRecording
from wattproof.readers.clock import SECONDS, Clock, clock_of_times, is_time, rate_of, start_of, unit_in_name
from wattproof.readers.contract import Answers
from wattproof.readers.overrule import settled_rate
from wattproof.readers.tracks import Tracks, tracks_of

Facts = Mapping[str, str | float]


@dataclass(frozen=True, kw_only=True, eq=False)
class Variable:
    """One named array of a file, not loaded yet.

    Attributes
    ----------
    name : str
        As the file gives it; "" for a file of one array without a name.
    group : str
        Variables of one group belong together.
    shape : tuple of int
    fault : str
        Why it cannot be a record in time ("complex numbers"); "" if it may be one.
    load : callable
        Gives the array, or something that is sliced like one.
    facts : mapping of str to str or float
        What the file says beside it.
    table : bool
        Whether the group is the columns of one table.
    """

    name: str
    shape: tuple[int, ...]
    load: Callable[[], ArrayLike]
    group: str = ""
    fault: str = ""
    facts: Facts = field(default_factory=dict)
    table: bool = False

    @property
    def short_name(self) -> str:
        """The name without its group."""
        return self.name.rpartition("/")[2]

    @property
    def length(self) -> int:
        """Samples, if it is a record: the longer axis is time."""
        return max(self.shape, default=0)

    @property
    def is_vector(self) -> bool:
        """Whether it has one track."""
        return len(self.shape) == 1 or (len(self.shape) == 2 and min(self.shape) == 1)


def fault_of(dtype: np.dtype[np.generic], shape: Sequence[int]) -> str:
    """Say why values of that kind and shape are no record in time; "" if they may be one."""
    kinds = {
        "c": "complex numbers",
        "O": "objects",
        "S": "text",
        "U": "text",
        "V": "records without names",
        "b": "yes/no",
    }
    kinds |= {"M": "dates", "m": "time spans"}
    if dtype.kind not in "iuf":
        return kinds.get(dtype.kind, f"values of type {dtype}")
    if len(shape) not in {1, 2}:
        return f"{len(shape)} axes" if shape else "one number"
    if 0 in shape:
        return "no values"
    return "one number" if max(shape) == 1 else ""


def assemble(
    variables: Sequence[Variable],
    *,
    path: Path,
    reader: str,
    answers: Answers,
    metadata: Mapping[str, str] | None = None,
) -> ArrayRecording:
    """Make a recording of a file's variables.

    Raises
    ------
    NotAWaveformError
        None of them can be a record in time.
    NeedsAnswerError
        Several can, or none says its clock.
    """
    chosen = _chosen(variables, answers, path.name)
    tracks = tracks_of([(one.short_name, one.load(), one.facts) for one in chosen], answers, path.name)
    clock = _clock(variables, chosen, tracks, answers, path.name)
    names = [one.name for one in chosen if one.name]
    joined = [_joined(chosen)] if len(chosen) > 1 and not chosen[0].table and answers.dataset is None else []
    rate_hz, overruled = settled_rate(answers, clock.rate_hz)
    return ArrayRecording(
        parts=tracks.parts,
        rate_hz=rate_hz,
        start_s=clock.start_s,
        channels=tracks.channels,
        source=path.name,
        reader=reader,
        metadata=dict(metadata or {}) | ({"variables": ", ".join(names)} if names else {}),
        notices=(*joined, *tracks.notices, *clock.notices, *overruled),
    )


def _chosen(variables: Sequence[Variable], answers: Answers, source: str) -> list[Variable]:
    usable = [one for one in variables if not one.fault and not _is_clock(one, answers)]
    if answers.dataset is not None:
        return [_named(name.strip(), variables, usable, source) for name in answers.dataset.split(",")]
    if not usable:
        raise NotAWaveformError(
            f"{source} holds no record in time.",
            why=f"It holds {_listed(variables)}.",
            hint="Save the samples as an array of real numbers, one axis being time.",
        )
    together = len({(one.group, one.length) for one in usable}) == 1 and all(one.is_vector for one in usable)
    if len(usable) == 1 or (together and (usable[0].table or _shared_clock(variables, usable))):
        return usable
    raise NeedsAnswerError(
        f"{source} holds several records.",
        why=f"It holds {_listed(usable)}, and nothing says that they belong together.",
        hint=f"Choose one, for example --dataset {usable[0].name}, or several of one length, parted by commas.",
    )


def _named(name: str, variables: Sequence[Variable], usable: Sequence[Variable], source: str) -> Variable:
    for one in usable:
        if name in {one.name, one.name.strip("/"), one.short_name}:
            return one
    refused = next((one for one in variables if name in {one.name, one.name.strip("/"), one.short_name}), None)
    if refused is not None:
        raise NotAWaveformError(
            f"{name!r} in {source} is no record in time.",
            why=f"It holds {refused.fault or 'a clock'}.",
            hint=f"Choose one of: {', '.join(one.name for one in usable) or 'none here'}.",
        )
    raise NeedsAnswerError(
        f"{source} has no variable {name!r}.",
        why=f"It holds {_listed(variables)}.",
        hint=f"Choose one of: {', '.join(one.name for one in usable) or 'none here'}.",
    )


def _listed(variables: Sequence[Variable]) -> str:
    shown = [
        f"{one.name or 'an array'} ({one.fault or ' x '.join(str(side) for side in one.shape)})"
        for one in variables[:12]
    ]
    more = f" and {len(variables) - 12} more" if len(variables) > 12 else ""
    return (", ".join(shown) or "nothing") + more


def _is_clock(one: Variable, answers: Answers) -> bool:
    if isinstance(answers.time_column, str):
        return answers.time_column in {one.name, one.short_name}
    counted = one.table and answers.time_column is not None  # a number counts the columns of a table, the time's too
    return answers.time_column != 0 and not counted and one.is_vector and is_time(one.short_name)


def _shared_clock(variables: Sequence[Variable], usable: Sequence[Variable]) -> bool:
    """Whether a time of the same length, or one rate, stands beside the records in their own group."""
    group, length = usable[0].group, usable[0].length
    beside = [one for one in variables if one.group == group and one not in usable]
    return any((is_time(one.short_name) and one.length == length) or _scalar_rate(one) for one in beside)


def _scalar_rate(one: Variable) -> float | None:
    value = _number(one)
    return None if value is None else rate_of(one.short_name, value)


def _number(one: Variable) -> float | None:
    if one.fault != "one number" or int(np.prod(one.shape)) != 1:
        return None
    return float(np.asarray(one.load()[()]).ravel()[0])


def _joined(chosen: Sequence[Variable]) -> Notice:
    names = ", ".join(one.name for one in chosen)
    return Notice(
        code="variables-joined",
        message=f"{len(chosen)} variables of equal length beside one clock were taken as channels: {names}.",
        hint="Name those you want with --dataset if they do not belong together.",
    )


def _clock(
    variables: Sequence[Variable], chosen: Sequence[Variable], tracks: Tracks, answers: Answers, source: str
) -> Clock:
    """Find the clock: times within or beside the record, then a rate beside it, then the person's answer."""
    near = [one for one in variables if one.group in {chosen[0].group, ""} and one not in chosen]
    stated = _stated_rates(chosen, near)
    start_s = _stated_start(chosen, near)
    from_times = _from_times(near, tracks, answers, source)
    if from_times is not None:
        return _checked(from_times, stated)
    if stated:
        return Clock(rate_hz=stated[0], start_s=start_s, notices=_contradiction(stated[0], stated[1:]))
    if answers.rate_hz is not None:
        return Clock(rate_hz=answers.rate_hz, start_s=start_s)
    raise NeedsAnswerError(
        f"{source} does not say how many samples there are in a second.",
        why=f"It holds {_listed(variables)}, and no rate, interval or times.{tracks.looks_like_time}",
        hint="State the rate, for example --rate-hz 48000.",
    )


def _stated_rates(chosen: Sequence[Variable], near: Sequence[Variable]) -> list[float]:
    facts = [(name, value) for one in chosen for name, value in one.facts.items() if isinstance(value, float)]
    rates = [rate_of(name.rpartition("/")[2], value) for name, value in facts]
    return [rate for rate in (*rates, *(_scalar_rate(one) for one in near)) if rate is not None]


def _stated_start(chosen: Sequence[Variable], near: Sequence[Variable]) -> float:
    facts = [(name, value) for one in chosen for name, value in one.facts.items() if isinstance(value, float)]
    facts += [(one.short_name, value) for one in near if (value := _number(one)) is not None]
    return next((start for name, value in facts if (start := start_of(name, value)) is not None), 0.0)


def _from_times(near: Sequence[Variable], tracks: Tracks, answers: Answers, source: str) -> Clock | None:
    if tracks.times is not None:
        unit = _time_unit(answers.time_unit or "", source)
        return clock_of_times(tracks.times, name=tracks.times_name, unit=unit, source=source)
    length = tracks.parts[0].n_samples
    beside = [one for one in near if _is_clock(one, answers) and one.length == length and not one.fault]
    if not beside:
        return None
    one = beside[0]
    told = answers.time_unit or unit_in_name(one.short_name) or str(one.facts.get("unit", one.facts.get("units", "")))
    times: NDArray[np.float64] = np.asarray(one.load()[()], dtype=np.float64).ravel()
    return clock_of_times(times, name=one.name, unit=_time_unit(told, source), source=source)


def _time_unit(unit: str, source: str) -> str:
    if unit.strip().lower() not in SECONDS:
        raise NeedsAnswerError(
            f"The time unit {unit!r} in {source} is not known.",
            why=f"Known are: {', '.join(name for name in SECONDS if name)}.",
            hint="State it, for example --time-unit ms.",
        )
    return unit.strip().lower()


def _checked(clock: Clock, stated: Sequence[float]) -> Clock:
    return Clock(
        rate_hz=clock.rate_hz,
        start_s=clock.start_s,
        notices=(*clock.notices, *_contradiction(clock.rate_hz, stated)),
    )


def _contradiction(used_hz: float, stated: Sequence[float]) -> tuple[Notice, ...]:
    others = [rate for rate in stated if abs(rate - used_hz) > 1e-3 * used_hz]
    if not others:
        return ()
    return (
        Notice(
            code="rate-contradicts",
            message=f"The file states {others[0]:.9g} Hz as well as {used_hz:.9g} Hz, which was used.",
            hint="If the other is right, say so with --rate-hz.",
            numbers={"used_hz": used_hz, "other_hz": others[0]},
        ),
    )
