"""What happens during a hold: the output mutes, comes back, tries again, gives up, or steps down to a lower level."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from wattproof.errors import Notice

if TYPE_CHECKING:
    from wattproof.measure.hold_frames import Frame

Real = NDArray[np.float64]

MUTED = 0.1
"""Level, as a share of the usual one, under which the output counts as muted (-20 dB)."""

STEP = 0.94
"""A fall to this share of the level (0.5 dB) within a second, that stays, counts as limiting."""

SETTLE_S = 1.0
EVENTS_TOLD = 12

FALL = 0.98
"""A level that ends below this share of where it began is told; a load resistor's heat alone moves it by less."""

FEWEST_FOR_FALL = 10


@dataclass(frozen=True, kw_only=True)
class Mute:
    """A span in which the output was silent; `stop_s` is None where it never came back."""

    start_s: float
    stop_s: float | None


def usual_level(frames: Sequence["Frame"]) -> float:
    """Level that the loud part of a hold has, V: the median of all that is above half the largest."""
    levels = np.concatenate([frame.levels for frame in frames])
    return float(np.median(levels[levels > 0.5 * levels.max()])) if levels.max() > 0 else 0.0


def loud_frames(frames: Sequence["Frame"]) -> list[int]:
    """Numbers of the frames that are not silent for the most part."""
    usual = usual_level(frames)
    return [n for n, frame in enumerate(frames) if not float(np.median(frame.levels)) < MUTED * usual]


def mutes(frames: Sequence["Frame"]) -> list[Mute]:
    """Spans of silence, to the cycle."""
    levels, cycle_s = _course(frames)
    silent = np.concatenate([[False], levels < MUTED * usual_level(frames), [False]])
    starts = np.flatnonzero(~silent[:-1] & silent[1:])
    stops = np.flatnonzero(silent[:-1] & ~silent[1:])
    origin = frames[0].start_s
    return [
        Mute(
            start_s=origin + start * cycle_s,
            stop_s=None if stop >= levels.size else origin + stop * cycle_s,
        )
        for start, stop in zip(starts, stops, strict=True)
    ]


def steps_down(frames: Sequence["Frame"]) -> list[tuple[float, float]]:
    """Give times (s) and level ratios of falls of 0.5 dB and more within a second that are no mutes and stay down."""
    levels, cycle_s = _course(frames)
    width = max(1, round(SETTLE_S / cycle_s))
    if levels.size < 3 * width:
        return []
    total = np.concatenate([[0.0], np.cumsum(levels)])
    means = (total[width:] - total[:-width]) / width
    before, after = means[: -2 * width + 1], means[2 * width - 1 :]
    size = min(before.size, after.size)
    ratio = after[:size] / np.maximum(before[:size], 1e-300)
    usual = usual_level(frames)
    loud = (before[:size] > 0.5 * usual) & (after[:size] > MUTED * usual)
    hits, found = np.flatnonzero(loud & (ratio < STEP)), []
    # neighbouring hits see one and the same step; the deepest of them sees all of it
    for group in np.split(hits, np.flatnonzero(np.diff(hits) > 1) + 1) if hits.size else []:
        best = int(group[np.argmin(ratio[group])])
        halfway = np.sqrt(before[best] * after[best])
        at = best + int(np.argmax(levels[best : best + 3 * width] < halfway))
        found.append((float(frames[0].start_s + at * cycle_s), float(ratio[best])))
    return found


def _course(frames: Sequence["Frame"]) -> tuple[Real, float]:
    levels = np.concatenate([frame.levels for frame in frames])
    return levels, frames[0].seconds / frames[0].levels.size


def event_notices(frames: Sequence["Frame"]) -> tuple[Notice, ...]:
    """Tell each event with its time; many mutes in a row are told as one string of tries."""
    silences = mutes(frames)
    notices = [_mute_notice(mute) for mute in silences[:EVENTS_TOLD]]
    if len(silences) >= 3:
        notices.insert(0, _retry_notice(silences))
    beside = [step for step in steps_down(frames) if not any(_near(step[0], mute) for mute in silences)]
    notices += [_step_notice(at_s, ratio) for at_s, ratio in beside[:EVENTS_TOLD]]
    return tuple(notices) if notices else _fall_notices(frames)


def _fall_notices(frames: Sequence["Frame"]) -> tuple[Notice, ...]:
    """Tell of a level that neither mutes nor steps, yet ends lower than it began."""
    tenth = max(1, len(frames) // 10)
    levels = [float(np.median(frame.levels)) for frame in frames]
    first, last = float(np.mean(levels[:tenth])), float(np.mean(levels[-tenth:]))
    if len(frames) < FEWEST_FOR_FALL or first <= 0 or last > FALL * first:
        return ()
    # the fall has begun where a quarter of it is done
    begun = next(n for n, level in enumerate(levels) if level < first - 0.25 * (first - last))
    return (
        Notice(
            code="event-level-falls",
            message=f"The level ends at {100 * (last / first):.1f} % of where it began; the fall shows from about "
            f"{frames[begun].start_s:.0f} s on.",
            hint="Heat, a sagging supply or a limiter turning the level down: compare with supply voltage, temperature "
            "and the drive, and quote power together with its time.",
            numbers={"ratio": last / first, "from_s": frames[begun].start_s},
        ),
    )


def _near(at_s: float, mute: Mute) -> bool:
    return mute.start_s - 2 * SETTLE_S <= at_s <= (mute.stop_s or mute.start_s) + 2 * SETTLE_S


def _mute_notice(mute: Mute) -> Notice:
    if mute.stop_s is None:
        return Notice(
            code="event-shut-down",
            message=f"The output falls silent at {mute.start_s:.2f} s and does not come back.",
            hint="Note what the amplifier shows; let it cool, look at supply voltage and temperature at that time.",
            numbers={"start_s": mute.start_s},
        )
    return Notice(
        code="event-mute",
        message=f"The output is silent from {mute.start_s:.2f} s to {mute.stop_s:.2f} s.",
        hint="Protection, or a break in the drive: compare with the drive channel and the supply voltage at that time.",
        numbers={"start_s": mute.start_s, "stop_s": mute.stop_s},
    )


def _retry_notice(silences: Sequence[Mute]) -> Notice:
    first, last = silences[0].start_s, silences[-1].start_s
    return Notice(
        code="event-retry",
        message=f"The output mutes {len(silences)} times between {first:.2f} s and {last:.2f} s: it tries again.",
        hint="This load or level is beyond what the amplifier sustains: stop, and hold at a lower level.",
        numbers={"mutes": len(silences), "first_s": first, "last_s": last},
    )


def _step_notice(at_s: float, ratio: float) -> Notice:
    return Notice(
        code="event-limiting",
        message=f"The level steps down to {100 * ratio:.1f} % at about {at_s:.1f} s and stays there.",
        hint="A limiter, thermal fold-back or a sagging supply: compare with supply voltage and temperature.",
        numbers={"at_s": at_s, "ratio": ratio},
    )
