"""Which axis of an array is time, what its tracks are called, and whether one of them is the time itself."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wattproof.errors import BrokenFileError, NeedsAnswerError, NotAWaveformError, Notice
from wattproof.readers.arrays import ArrayLike, Part
from wattproof.readers.contract import Answers
from wattproof.waveform import Channel

MOST_TRACKS = 256
DOUBTFUL = 4  # a record is rarely less than four times as long as it has channels

Named = tuple[str, ArrayLike, Mapping[str, str | float]]


@dataclass(frozen=True, kw_only=True, eq=False)
class Tracks:
    """The channels found, and the times if one of the tracks held them.

    Attributes
    ----------
    times : NDArray[np.float64] of shape (n_samples,) or None
    looks_like_time : str
        A sentence for the person, where a track seems to be the time and nobody said so.
    """

    parts: tuple[Part, ...]
    channels: tuple[Channel, ...]
    notices: tuple[Notice, ...] = ()
    times: NDArray[np.float64] | None = None
    times_name: str = ""
    looks_like_time: str = ""


def tracks_of(named: Sequence[Named], answers: Answers, source: str) -> Tracks:
    """Turn arrays of one length into channels.

    Raises
    ------
    NotAWaveformError
        Complex numbers, or an array that is as wide as it is long.
    BrokenFileError
        The arrays differ in length.
    NeedsAnswerError
        `answers` name a time column that is not there.
    """
    parts, channels, notices = [], [], []
    for name, array, facts in named:
        _refuse(name, array, source)
        part, doubts = _part(array, source)
        parts.append(part)
        notices += doubts
        channels += _channels(name, part, facts)
    if len({part.n_samples for part in parts}) > 1:
        raise BrokenFileError(
            f"The chosen variables of {source} differ in length.",
            why=", ".join(f"{name} has {part.n_samples}" for (name, _, _), part in zip(named, parts, strict=True))
            + ".",
            hint="Choose variables of one length, or one alone.",
        )
    found = Tracks(parts=tuple(parts), channels=tuple(channels), notices=tuple(notices))
    if isinstance(answers.time_column, int) and answers.time_column > 0:
        found = _with_times(found, answers.time_column, source)
    elif len(parts) == 1 and len(parts[0].tracks) > 1:
        found = Tracks(
            parts=found.parts,
            channels=found.channels,
            notices=found.notices,
            looks_like_time=_looks_like_time(parts[0]),
        )
    return _with_units(found, answers)


def _refuse(name: str, array: ArrayLike, source: str) -> None:
    if array.dtype.kind not in "iuf":
        raise NotAWaveformError(
            f"{name or 'The array'} in {source} is no record in time.",
            why=f"Its values are of type {array.dtype}.",
            hint="Save real numbers, in volts or as the recorder gave them.",
        )


def _part(array: ArrayLike, source: str) -> tuple[Part, list[Notice]]:
    shape = array.shape
    if len(shape) == 1:
        return Part(array=array), []
    time_axis = 0 if shape[0] >= shape[1] else 1
    n_samples, n_tracks = shape[time_axis], shape[1 - time_axis]
    if n_tracks > MOST_TRACKS:
        raise NotAWaveformError(
            f"An array of {shape[0]} x {shape[1]} in {source} is no record in time.",
            why=f"It would have {n_tracks} channels; more than {MOST_TRACKS} look like a picture or a map.",
            hint="Save fewer channels.",
        )
    part = Part(array=array, time_axis=time_axis, tracks=range(n_tracks))
    if n_tracks == 1 or n_samples >= DOUBTFUL * n_tracks:
        return part, []
    doubt = Notice(
        code="axes-doubtful",
        message=f"An array of {shape[0]} x {shape[1]} was read as {n_tracks} channels of {n_samples} samples.",
        hint="Save it with one row a sample if it is the other way round.",
        numbers={"channels": n_tracks, "samples": n_samples},
    )
    return part, [doubt]


def _channels(name: str, part: Part, facts: Mapping[str, str | float]) -> list[Channel]:
    unit = str(facts.get("unit", facts.get("units", ""))).strip() or None
    step = 1.0 if part.array.dtype.kind in "iu" else None
    names = [name] if len(part.tracks) == 1 and name else [str(track + 1) for track in part.tracks]
    return [Channel(name=one, unit=unit, step=step) for one in names]


def _with_times(found: Tracks, column: int, source: str) -> Tracks:
    """Take track `column`, counted from 1, out of the channels as the time of each sample."""
    if column > len(found.channels) or len(found.channels) < 2:
        raise NeedsAnswerError(
            f"{source} has no column {column} to take the time from.",
            why=f"It has {len(found.channels)} columns, and one must be left as a channel.",
            hint="State the rate instead, for example --rate-hz 48000.",
        )
    at, parts, times = column - 1, [], None
    for part in found.parts:
        if 0 <= at < len(part.tracks):
            one = Part(array=part.array, time_axis=part.time_axis, tracks=(part.tracks[at],))
            times = one.take(0, part.n_samples)[:, 0].astype(np.float64)
        left = [track for position, track in enumerate(part.tracks) if position != at]
        parts += [Part(array=part.array, time_axis=part.time_axis, tracks=left)] if left else []
        at -= len(part.tracks)
    channels = [channel for position, channel in enumerate(found.channels) if position != column - 1]
    return Tracks(
        parts=tuple(parts),
        channels=tuple(channels),
        notices=found.notices,
        times=times,
        times_name=found.channels[column - 1].name,
    )


def _looks_like_time(part: Part) -> str:
    first = part.take(0, min(part.n_samples, 4096))[:, 0].astype(np.float64)
    steps = np.diff(first)
    if steps.size < 2 or not (steps > 0).all() or np.ptp(steps) > 1e-3 * steps.mean():
        return ""
    return " Its first track rises in even steps, as a time does: --time-column 1 --time-unit s takes it as one."


def _with_units(found: Tracks, answers: Answers) -> Tracks:
    channels = tuple(
        Channel(
            name=one.name,
            unit=answers.units.get(one.name, answers.units.get(str(number), one.unit)),
            full_scale=one.full_scale,
            step=one.step,
        )
        for number, one in enumerate(found.channels, start=1)
    )
    return Tracks(
        parts=found.parts,
        channels=channels,
        notices=found.notices,
        times=found.times,
        times_name=found.times_name,
        looks_like_time=found.looks_like_time,
    )
