"""A ramp: fast to 3 dB below the expected knee, slowly over it, until THD+N has passed the highest limit asked for."""

from collections.abc import Callable, Sequence
from statistics import median

from wattproof.capture import RampDrive
from wattproof.errors import RefusedError
from wattproof.plan import Step
from wattproof.run.course import Seen, reached
from wattproof.run.knowledge import LOWER_LIMIT, UPPER_LIMIT, LevelFound, RampFound
from wattproof.run.playing import Keeping, Played, play
from wattproof.run.seeking import known_gain, tone_of
from wattproof.run.stage import Stage

BELOW_KNEE = 0.7079
"""3 dB below the expected knee the ramp becomes slow: from half power on."""

AHEAD_S = 0.05
"""A word takes effect so much later than the sample it is about was recorded, seconds: it is given ahead."""

FAST_DB_PER_S, SLOW_DB_PER_S = 24.0, 2.0
STOP_THD_N = 0.12

SUSPECT_THD_N, SUSPECT_RISE = 0.003, 3.0
"""Distortion over both the first and this many times what the ramp has shown so far slows it early, V/V."""

COMPRESSED = 0.977
"""So does a gain that has fallen by 0.2 dB, V/V."""

SHUT_DOWN = 0.5
"""A gain that has fallen by 6 dB is no clipping: the amplifier protects itself, and the ramp ends, V/V."""

COUNTS_FROM = 0.05
"""Frames below this share of the expected knee steer nothing: noise may look like distortion there."""


class RampControl:
    """Steers a ramp by its frames.

    Parameters
    ----------
    drive : RampDrive
    knee_v_rms : float, V
        Where the output is expected to begin to clip.
    gain : float, V/V
        Small-signal gain.
    stop_thd_n : float, V/V
        The ramp ends once two frames in succession have passed it.
    """

    def __init__(self, drive: RampDrive, *, knee_v_rms: float, gain: float, stop_thd_n: float) -> None:
        self._drive, self._knee_v_rms, self._stop_thd_n = drive, knee_v_rms, stop_thd_n
        self._slow_level_v_rms = BELOW_KNEE * knee_v_rms / gain
        self._thd_seen: list[float] = []
        self._gains: list[float] = []
        self._past = 0

    def block(self, end: int) -> None:
        """Slow down where the level will be 3 dB below the knee by the time the word takes effect."""
        ahead = end + round(AHEAD_S * self._drive.rate_hz)
        if self._drive.slow_from is None and self._drive.level_v_rms_at(ahead) >= self._slow_level_v_rms:
            self._drive.slow_down()

    def frame(self, seen: Seen) -> None:
        """Slow down early where the frame shows the knee, end where it shows enough."""
        thd_n, output_v_rms = seen.frame.thd_n, seen.frame.output_v_rms or 0.0
        if thd_n is None or (output_v_rms < COUNTS_FROM * self._knee_v_rms and not self._gains):
            return
        gain = output_v_rms / seen.drive_v_rms
        self._past = self._past + 1 if thd_n > self._stop_thd_n else 0
        if self._past >= 2 or (self._gains and gain < SHUT_DOWN * median(self._gains)):
            self._drive.finish()
        elif self._suspect(thd_n, gain):
            self._drive.slow_down()
        else:
            self._thd_seen.append(thd_n)
            self._gains.append(gain)

    def _suspect(self, thd_n: float, gain: float) -> bool:
        if not self._gains:
            return False
        risen = thd_n > max(SUSPECT_THD_N, SUSPECT_RISE * median(self._thd_seen))
        return risen or gain < COMPRESSED * median(self._gains)


def carry_ramp(stage: Stage, step: Step) -> Played:
    """Play a ramp; once more, with the knee now known, where it met the lower limit while it was still fast.

    Raises
    ------
    RefusedError
        The sheet does not say what the ramp needs.
    """
    played = _ramp(stage, step, repeatable=True)
    if played.void is not None and played.trip is None:
        stage.told(
            "ramp-repeated",
            f"{step.name}: the knee came earlier than expected; the ramp is repeated once with the knee now known.",
        )
        played = _ramp(stage, step, repeatable=False)
    return played


def _ramp(stage: Stage, step: Step, *, repeatable: bool) -> Played:
    tone_hz, gain = tone_of(step), known_gain(stage, step)
    drive, knee_v_rms = _drive(stage, step, tone_hz=tone_hz, gain=gain)
    control = RampControl(drive, knee_v_rms=knee_v_rms, gain=gain, stop_thd_n=step.stop_thd_n or STOP_THD_N)
    note = f"Ramp at {tone_hz:g} Hz; knee expected at {knee_v_rms:.4g} V r.m.s., drive {knee_v_rms / gain:.4g} V."
    judge = _too_fast(drive) if repeatable else (lambda _course: None)
    played = play(
        stage,
        step,
        drive,
        outputs=step.outputs,
        tone_hz=tone_hz,
        keeping=Keeping(note=note, judge=judge),
        control=control,
    )
    _learn(stage, step, played)
    return played


def _drive(stage: Stage, step: Step, *, tone_hz: float, gain: float) -> tuple[RampDrive, float]:
    """Make the ramp's drive, and say where its knee is expected; without an expectation it is slow from the start."""
    if step.to_v_rms is None:
        raise RefusedError(
            f"Step {step.number}, {step.name}, cannot be carried out.",
            why="it names no to_v_rms, the highest level it may ask for",
            hint="Make the run sheet again with wattproof plan.",
        )
    expected_v_rms = stage.knowledge.knee_v_rms(step)
    knee_v_rms = expected_v_rms or step.to_v_rms
    ceiling_v_rms = min(step.to_v_rms / gain, stage.ceiling_v_rms)
    start_v_rms = (step.from_v_rms or COUNTS_FROM * knee_v_rms) / gain
    drive = RampDrive(
        start_v_rms=min(start_v_rms, BELOW_KNEE * knee_v_rms / gain, 0.5 * ceiling_v_rms),
        ceiling_v_rms=ceiling_v_rms,
        fast_db_per_s=step.fast_db_per_s or FAST_DB_PER_S,
        slow_db_per_s=step.slow_db_per_s or SLOW_DB_PER_S,
        seconds_max=step.seconds,
        tone_hz=tone_hz,
        outputs=step.outputs,
        rate_hz=stage.rig.rate_hz,
    )
    if expected_v_rms is None:
        drive.slow_down()
    return drive, knee_v_rms


def _too_fast(drive: RampDrive) -> Callable[[Sequence[Seen]], str | None]:
    def judge(course: Sequence[Seen]) -> str | None:
        lower = reached(course, limit=LOWER_LIMIT)
        slow_from = drive.slow_from
        if lower is None or (slow_from is not None and slow_from <= lower.t_s * drive.rate_hz):
            return None
        return f"The ramp met {100 * LOWER_LIMIT:g} % while it was still fast; it was repeated with the knee known."

    return judge


def _learn(stage: Stage, step: Step, played: Played) -> None:
    found = [(limit, reached(played.course, limit=limit)) for limit in (LOWER_LIMIT, UPPER_LIMIT)]
    levels = tuple(
        LevelFound(thd_n=limit, drive_v_rms=at.drive_v_rms, output_v_rms=at.output_v_rms, output_w=at.output_w)
        for limit, at in found
        if at is not None
    )
    ramp = RampFound(
        step=step.name, outputs=step.outputs, load_ohm=step.load_ohm, knee_v_rms=step.knee_v_rms, levels=levels
    )
    stage.knowledge = stage.knowledge.with_ramp(ramp)
    if not levels and played.trip is None:
        stage.told(
            "limit-not-reached",
            f"{step.name} ended before THD+N reached {100 * LOWER_LIMIT:g} %.",
            "Raise the amplifier's gain control, or the step's to_v_rms in the run sheet, and repeat it; or go on.",
        )
