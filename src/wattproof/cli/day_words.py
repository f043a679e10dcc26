"""A run's events in words: one or a few lines each, for a terminal that keeps them and for files."""

from collections.abc import Callable, Mapping
from typing import Any

from wattproof.tasks import RunBegun, RunEnded, StepBegun, StepEnded, StepRan, Told, Tripped

Said = Callable[[Any], list[str]]


def words_of(event: object) -> list[str]:
    """Give the lines of an event; what comes several times a second is left to a display that moves."""
    say: Said | None = WORDS.get(type(event).__name__)
    return [] if say is None else say(event)


def _begun(event: RunBegun) -> list[str]:
    before = f", {event.done_before} of them over already" if event.done_before else ""
    return [f"{event.amplifier}: {event.steps} steps{before}. Session {event.session}"]


def _step(event: StepBegun) -> list[str]:
    again = f" (attempt {event.attempt})" if event.attempt > 1 else ""
    return [f"{event.number:>3} {event.name}{again} ..."]


def _ended(event: StepEnded) -> list[str]:
    lines = [f"      {event.state}{f': {event.why}' if event.why else ''}"] if event.state != "done" else []
    lines += [f"      {line}" for line in found_lines(event)]
    if event.stepping_full_power_s is not None:
        lines.append(f"      {cost_line(event)}")
    return lines


def found_lines(event: StepEnded) -> list[str]:
    """Write the leading figures of a step: name, value with its 95 % interval, unit."""
    return StepRan.model_validate(event.model_dump(include=set(StepRan.model_fields))).found()


def cost_line(event: StepEnded | RunEnded) -> str:
    """Write what full power has cost, beside what stepping by hand would have."""
    spent = f"at full power for {event.full_power_s:.1f} s{_energy(event.energy_j)}"
    if event.stepping_full_power_s is None:
        return spent
    stepped = f"{event.stepping_full_power_s:.0f} s{_energy(event.stepping_energy_j)}"
    return f"{spent}; the ramp stepped by hand (0.1 dB, 1 s): {stepped}"


def _energy(energy_j: float | None) -> str:
    return "" if energy_j is None else f", {energy_j / 1000:.1f} kJ"


def _tripped(event: Tripped) -> list[str]:
    lines = [f"  ! The guard stopped the drive ({event.code}) at {event.at_s:.3f} s. {event.message}"]
    lines += [f"    why: {event.why}"] if event.why else []
    return [*lines, *([f"    try: {event.hint}"] if event.hint else [])]


def _told(event: Told) -> list[str]:
    return [f"  ! {event.code}: {event.message}", *([f"    {event.hint}"] if event.hint else [])]


def _over(event: RunEnded) -> list[str]:
    left = f"; {event.left} left" if event.left else ""
    lines = [f"Run {event.state}: {event.done} steps over{left}. {event.why}".strip()]
    if event.left:
        cleared = ' --clear-trip "what you found"' if event.state == "tripped" else ""
        lines.append(f"  The drive is muted. Go on with: wattproof run --session {event.session}{cleared}")
    return [*lines, f"  {cost_line(event)}"]


WORDS: Mapping[str, Said] = {
    "RunBegun": _begun,
    "StepBegun": _step,
    "StepEnded": _ended,
    "Tripped": _tripped,
    "Told": _told,
    "RunEnded": _over,
}
