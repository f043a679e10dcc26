"""Carries out a run sheet step by step; the drive ends up muted and the journal says how far it came."""

from collections.abc import Collection, Mapping
from contextlib import suppress
from dataclasses import asdict, dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, Literal

from pydantic import JsonValue

from wattproof.archive import Archive, Session
from wattproof.capture import Operator, Rig, Trip
from wattproof.errors import (
    BenchError,
    CaptureFailedError,
    GuardTripError,
    MeasureError,
    RefusedError,
    WattproofError,
)
from wattproof.measure import CaptureResult
from wattproof.plan import RunSheet, Step
from wattproof.run.course import cost, stepping_cost
from wattproof.run.events import RunBegun, RunEnded, StepBegun, StepEnded, Tripped
from wattproof.run.leading import leading_figures
from wattproof.run.playing import Played, StoppedPlayError
from wattproof.run.rests import make_ready, read_meters, rest, stop_if_pressed
from wattproof.run.resume import OVER, read_progress
from wattproof.run.stage import Figures, Stage, Tell
from wattproof.run.steps import carry_step
from wattproof.run.stopping import StopButton, ended_by_signals

MOST_ATTEMPTS = 3
"""A capture that lost samples is taken so often before somebody is asked."""

State = Literal["complete", "interrupted", "tripped"]
ASKED = ("repeat", "skip", "end")


@dataclass(frozen=True, kw_only=True)
class Carried:
    """How far a run came.

    Attributes
    ----------
    state : "complete", "interrupted" or "tripped"
    done, left : int
        Steps that are over, earlier runs included, and those that are not.
    results : mapping of int to CaptureResult
        What was measured in this run, by the capture's number.
    """

    state: State
    done: int
    left: int
    results: Mapping[int, CaptureResult]


class _EndedError(Exception):
    """The person would rather end the run here."""


def carry_out(
    sheet: RunSheet,
    rig: Rig,
    archive: Archive,
    session: Session,
    *,
    figures: Figures,
    tell: Tell,
    operator: Operator | None = None,
    button: StopButton | None = None,
    skip: Collection[int] = (),
    traced: bool = False,
) -> Carried:
    """Carry out a run sheet, from where an earlier run of the session stopped.

    The caller holds the session (`Archive.conducting`) and has it that nothing is latched.

    Parameters
    ----------
    sheet : RunSheet
        Checked and confirmed.
    rig : Rig
        Open; it is muted and its supply switched off in the end, but left open.
    archive, session
        Where everything is kept.
    figures : callable
        Measures a capture that was kept.
    tell : callable
        Gets every event, in this thread; must be back within a few milliseconds.
    operator : Operator or None
        Who is asked after a trip or a failed step; None asks nobody.
    button : StopButton or None
        Something else than Ctrl-C to stop the run with.
    skip : collection of int
        Numbers of steps to pass over.
    traced : bool
        Also tell what the output looks like.

    Raises
    ------
    GuardTripError
        The guard has stopped the drive and nobody is asked, or the person ends the run; resume it after clearing.
    KeyboardInterrupt
        A person has stopped the run.
    BenchError
        A part of the bench is gone.
    ArchiveError
        The disk refuses.
    """
    progress = read_progress(archive.journal(session))
    stage = Stage(
        sheet=sheet, rig=rig, archive=archive, session=session, operator=operator, tell=tell, figures=figures,
        button=button or StopButton(), knowledge=progress.knowledge, tally=progress.tally,
        traced=traced,
    )  # fmt: skip
    conductor = _Conductor(stage, over=progress.over_in(sheet), skip=frozenset(skip))
    tell(
        RunBegun(
            session=session.id,
            amplifier=sheet.amplifier,
            steps=len(sheet.steps),
            done_before=len(progress.over_in(sheet)),
        )
    )
    with ended_by_signals():
        return conductor.run(progress.rest_left_s(datetime.now(UTC)))


class _Conductor:
    def __init__(self, stage: Stage, *, over: set[int], skip: frozenset[int]) -> None:
        self._stage, self._over, self._skip = stage, over, skip
        self._results: dict[int, CaptureResult] = {}

    def run(self, rest_s: float) -> Carried:
        """Carry out what is left; muted however it ends."""
        stage, why = self._stage, ""
        state: State = "interrupted"
        try:
            stage.log("run-begun", steps=len(stage.sheet.steps), over=sorted(self._over))
            self._all(rest_s)
            state = "complete"
        except _EndedError as end:
            why = str(end)
        except GuardTripError as error:
            state, why = "tripped" if stage.archive.latched(stage.session) else "interrupted", error.message
            raise
        except KeyboardInterrupt:
            why = "A person stopped the run."
            raise
        except BaseException as error:
            why = f"{type(error).__name__}: {error}"
            raise
        finally:
            stage.rig.mute()
            if stage.powered:
                stage.powered = False
                stage.rig.supply_off()
            self._end(state, why)
        return Carried(
            state="complete" if state == "complete" else "interrupted",
            done=len(self._over),
            left=len(stage.sheet.steps) - len(self._over),
            results=self._results,
        )

    def _end(self, state: State, why: str) -> None:
        stage, tally = self._stage, self._stage.tally
        left = len(stage.sheet.steps) - len(self._over)
        # a full disk must not hide why the run ended
        with suppress(WattproofError):
            stage.log("run-ended", state=state, why=why, left=left)
        stage.tell(
            RunEnded(session=stage.session.id, state=state, done=len(self._over), left=left, why=why, **asdict(tally))
        )

    def _all(self, rest_s: float) -> None:
        stage = self._stage
        todo = [step for step in stage.sheet.steps if step.number not in self._over]
        for place, step in enumerate(todo):
            if step.number in self._skip:
                self._ended(step, None, state="skipped", why="passed over, as was asked for")
                continue
            if rest_s > 0:
                rest(stage, rest_s, next_name=step.name)
                stage.log("rested", before=step.number)
            stop_if_pressed(stage)
            state = self._step(step)
            last = place == len(todo) - 1
            rest_s = 0.0 if last or state == "skipped" else step.rest_s

    def _step(self, step: Step) -> str:
        """Carry out a step until it is over, or nobody wants to repeat it."""
        attempt = 0
        while True:
            attempt += 1
            try:
                return self._attempt(step, attempt)
            except CaptureFailedError as error:
                self._stage.log("capture-failed", number=step.number, attempt=attempt, why=str(error))
                if attempt % MOST_ATTEMPTS:
                    self._stage.told("capture-repeated", f"{step.name}: {error.message} {error.why}", error.hint)
                    continue
                again = self._ask_failed(step, error)
            except (MeasureError, RefusedError) as error:
                again = self._ask_failed(step, error)
            except BenchError as error:
                if self._stage.operator is None:
                    raise
                again = self._ask_failed(step, error)
            if not again:
                return "failed"

    def _attempt(self, step: Step, attempt: int) -> str:
        stage = self._stage
        self._void_earlier(step)
        make_ready(stage, step)
        before = read_meters(stage)
        stage.log("step-begun", number=step.number, name=step.name, attempt=attempt, meters=before)
        stage.tell(
            StepBegun(
                number=step.number, name=step.name, kind=step.kind, load=step.load, attempt=attempt,
                seconds=step.seconds, expected_w=step.expected.power_w,
                expected_supply_w=step.expected.supply_power_w, next_name=stage.next_name(step),
            )
        )  # fmt: skip
        try:
            played = carry_step(stage, step)
        except StoppedPlayError as stopped:
            return self._tripped(step, attempt, stopped.played, stopped.trip)
        after = read_meters(stage)
        if before or after:
            stage.log("meters-read", number=step.number, before=before, after=after)
        if played.trip is not None:
            return self._tripped(step, attempt, played, played.trip)
        self._ended(step, played, state="done", result=self._measured(played))
        return "done"

    def _void_earlier(self, step: Step) -> None:
        """Take back what an earlier attempt left, so that a step has one capture that counts."""
        stage = self._stage
        for record in stage.archive.captures(stage.session):
            live = record.live
            if live is None or live.step != step.number or record.description.void is not None:
                continue
            why = "It was cut off; the step was repeated." if live.cut_off else "The step was repeated."
            stage.archive.void_capture(stage.session, record.number, why)
            self._results.pop(record.number, None)

    def _measured(self, played: Played) -> CaptureResult | None:
        if played.record is None or played.void is not None:
            return None
        result = self._stage.figures(self._stage.session, played.record)
        self._results[played.record.number] = result
        return result

    def _tripped(self, step: Step, attempt: int, played: Played, trip: Trip) -> str:
        """Keep the trip, which latches, and ask the person; without one the run ends here."""
        stage = self._stage
        stage.powered = False
        said: dict[str, JsonValue] = {"step": step.number, "attempt": attempt, **asdict(trip)}
        stage.archive.keep_trip(
            stage.session, said, samples=played.around, channels=stage.rig.channels, rate_hz=stage.rig.rate_hz
        )
        capture = None if played.record is None else played.record.number
        stage.log("tripped", number=step.number, code=trip.code, message=trip.message, capture=capture)
        stage.tell(
            Tripped(
                number=step.number, code=trip.code, message=trip.message, why=trip.why, hint=trip.hint,
                at_s=trip.at_s, capture=capture,
            )
        )  # fmt: skip
        choice = self._ask_tripped(trip)
        if choice == "repeat":
            return self._attempt(step, attempt + 1)
        result = None
        with suppress(MeasureError):
            result = self._measured(played)
        self._ended(step, played, state="stopped", why=trip.message, result=result)
        return "stopped"

    def _ask_tripped(self, trip: Trip) -> str:
        """Ask how to go on; to go on, the person says what was found, which clears the trip."""
        stage = self._stage
        choice = "end" if stage.operator is None else stage.operator.choose(f"{trip.message} How to go on?", ASKED)
        if choice == "end" or stage.operator is None:
            if trip.code == "person":
                raise KeyboardInterrupt
            resume = f'wattproof run --session {stage.session.id} --clear-trip "what you found"'
            raise GuardTripError(trip.message, why=trip.why, hint=f"{trip.hint} Then go on: {resume}".strip())
        words = stage.operator.choose("What did you find, and what did you do about it?", ())
        stage.archive.clear_trip(stage.session, words)
        stage.button.release()
        return choice

    def _ask_failed(self, step: Step, error: WattproofError) -> bool:
        """Say that a step has failed, and whether to repeat it."""
        stage = self._stage
        choice = "skip"
        if stage.operator is not None:
            choice = stage.operator.choose(f"Step {step.number}, {step.name}, failed. {error}", ASKED)
        if choice == "repeat":
            return True
        skipped = stage.operator is not None and choice == "skip"
        self._ended(step, None, state="skipped" if skipped else "failed", why=str(error))
        if choice == "end":
            raise _EndedError(f"Ended at step {step.number}, {step.name}: {error.message}")
        return False

    def _ended(
        self,
        step: Step,
        played: Played | None,
        *,
        state: Literal["done", "failed", "skipped", "stopped"],
        why: str = "",
        result: CaptureResult | None = None,
    ) -> None:
        """Journal a step's end with what it found and has cost, and tell it."""
        stage = self._stage
        course = () if played is None else played.course
        over_w = stage.knowledge.full_power_w(step) if step.kind in {"ramp", "burst", "hold"} else float("inf")
        spent = cost(course, over_w=over_w)
        stepping = stepping_cost(course, over_w=over_w) if step.kind == "ramp" and course else None
        costs: dict[str, Any] = {
            "full_power_s": spent.full_power_s,
            "energy_j": spent.energy_j,
            "stepping_full_power_s": None if stepping is None else stepping.full_power_s,
            "stepping_energy_j": None if stepping is None else stepping.energy_j,
        }
        stage.tally.add(**costs)
        capture = None if played is None or played.record is None else played.record.number
        rest_s = 0.0 if state == "skipped" else step.rest_s
        stage.log(
            "step-ended", number=step.number, name=step.name, state=state, capture=capture, why=why,
            knowledge=stage.knowledge.model_dump(mode="json"), **costs,
            resting_until=(datetime.now(UTC) + timedelta(seconds=rest_s)).isoformat() if rest_s else None,
        )  # fmt: skip
        if state in OVER:
            self._over.add(step.number)
        figures = () if result is None else leading_figures(result, step.kind)
        stage.tell(
            StepEnded(
                number=step.number, name=step.name, state=state, capture=capture, why=why, figures=figures, **costs
            )
        )
