"""What a terminal shows while a run goes on: the flow of power, distortion, the curve so far, time, what comes next."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from time import monotonic
from typing import TYPE_CHECKING, Any

from wattproof.cli.day_words import words_of
from wattproof.cli.drawing import Curve, curve_lines, flow_strip
from wattproof.cli.words import folded
from wattproof.tasks import Live, Resting, RunBegun, StepBegun, StepEnded

if TYPE_CHECKING:
    from rich.console import Console, RenderableType
    from rich.live import Live as Moving

WIDTH, HEIGHT = 60, 8
TIMES_A_SECOND = 8
LEAST_W, LEAST_V = 1e-3, 1e-2
"""Less than this is noise, and shown as nothing."""


@dataclass
class DayState:
    """All that the display shows; fed with events, drawn by another thread."""

    begun: RunBegun | None = None
    step: StepBegun | None = None
    live: Live | None = None
    resting: Resting | None = None
    curve: Curve = field(default_factory=Curve)
    curve_name: str = ""
    full_w: float = 0.0

    def hear(self, event: object) -> None:
        """Take an event."""
        if isinstance(event, RunBegun):
            self.begun = event
        elif isinstance(event, StepBegun):
            self.step, self.live, self.resting = event, None, None
            if event.kind == "ramp":
                self.curve, self.curve_name, self.full_w = Curve(), event.name, event.expected_w
        elif isinstance(event, Live):
            self._see(event)
        elif isinstance(event, Resting):
            self.resting, self.live = event, None

    def _see(self, live: Live) -> None:
        self.live = live
        if self.step is not None and self.step.kind == "ramp" and live.output_w and live.thd_n:
            self.curve = self.curve.with_point(live.output_w, live.thd_n)

    def lines(self) -> list[str]:
        """Draw it."""
        if self.begun is None:
            return ["Opening the bench ..."]
        return [*self._head(), *self._flow(), *self._curve(), *self._time(), self._next()]

    def _head(self) -> list[str]:
        begun, step = self.begun, self.step
        name = f"{begun.amplifier}   session {begun.session}" if begun is not None else ""
        if step is None or begun is None:
            return [name, ""]
        again = f", attempt {step.attempt}" if step.attempt > 1 else ""
        over = " is over" if self.resting is not None else ""
        return [name, f"step {step.number} of {begun.steps}: {step.name}{again}{over}", ""]

    def _flow(self) -> list[str]:
        live, step = self.live, self.step
        if live is None or step is None:
            return ["the drive is muted" if self.resting is not None else "no drive yet", ""]
        if live.supply_w is None or live.output_w is None:
            into = "not recorded" if live.output_w is None else _watts(live.output_w)
            return [f"into the load {into}; the supply's power is not recorded", ""]
        heat_w = max(0.0, live.supply_w - live.output_w)
        strip = flow_strip(output_w=live.output_w, supply_w=live.supply_w, full_w=step.expected_supply_w, width=WIDTH)
        share = 100 * max(0.0, live.output_w) / live.supply_w if live.supply_w > LEAST_W else 0.0
        return [
            f"supply {live.supply_v:.2f} V x {live.supply_a:.1f} A  ->  {_watts(live.supply_w)}",
            strip,
            f"█ into the load {_watts(live.output_w)} ({share:.0f} %)   ▒ stays as heat {_watts(heat_w)}",
            "",
        ]

    def _curve(self) -> list[str]:
        live = self.live
        distortion = "" if live is None or live.thd_n is None else f"THD+N {100 * live.thd_n:.3g} %   "
        level = (
            ""
            if live is None or (live.output_v_rms or 0.0) < LEAST_V
            else f"output {live.output_v_rms:.4g} V r.m.s.   "
        )
        slow = "slow part of the ramp" if live is not None and live.slow else ""
        slow = "looking for the gain" if live is not None and live.searching else slow
        lines = [f"{distortion}{level}{slow}".rstrip(), ""]
        if not self.curve_name:
            return lines
        drawn = curve_lines(self.curve, full_w=self.full_w, width=WIDTH, height=HEIGHT)
        return [*lines, f"THD+N against power, {self.curve_name}", *drawn, ""]

    def _time(self) -> list[str]:
        live = self.live
        if live is None:
            return []
        most = (
            "" if live.full_power_left_s is None else f"; the guard stops it after {live.full_power_left_s:.1f} s more"
        )
        drawn = "" if live.energy_j is None else f", {live.energy_j / 1000:.2f} kJ drawn"
        hot = "" if live.temperature_c is None else f", {live.temperature_c:.1f} °C"
        return [
            f"{live.t_s:.1f} s into the step{drawn}{hot}",
            f"at full power for {live.full_power_s:.1f} s{most}",
        ]

    def _next(self) -> str:
        if self.resting is not None:
            return f"resting: {self.resting.left_s:.0f} s left, then {self.resting.next_name}"
        following = None if self.step is None else self.step.next_name
        return f"next: {following}" if following else "this is the last step"


class MovingView:
    """Shows a run on a terminal: lines that stay, and below them a display that moves."""

    def __init__(self, console: "Console") -> None:
        self._console, self._state = console, DayState()
        self._moving, self._drawn_at_s = self._anew(), 0.0

    def _anew(self) -> "Moving":
        """Give a display that has drawn nothing yet, so that its first drawing wipes no line that others wrote.

        It draws when told, never from a thread of its own: two that draw at once leave torn boxes behind.
        """
        from rich.live import Live as Moving

        return Moving(console=self._console, get_renderable=self.drawn, auto_refresh=False, transient=True)

    def __call__(self, event: Any) -> None:  # noqa: ANN401  (an event of a run)
        """Show an event."""
        self._state.hear(event)
        if not isinstance(event, StepBegun):
            self._keep(event)
        now_s = monotonic()
        if not isinstance(event, Live) or now_s - self._drawn_at_s > 1 / TIMES_A_SECOND:
            self._drawn_at_s = now_s
            self._moving.refresh()

    def _keep(self, event: object) -> None:
        lines = words_of(event)
        if isinstance(event, StepEnded) and lines and event.state == "done":
            lines = [f"{event.number:>3} {event.name}", *lines]
        for line in lines:
            self._console.print(folded(line, self._console.width), highlight=False, markup=False)

    def drawn(self) -> "RenderableType":
        """Draw what moves."""
        from rich.panel import Panel
        from rich.text import Text

        # two columns stay free for the ^C that the terminal echoes behind it: folded, it would shift the display
        return Panel(Text("\n".join(self._state.lines())), width=min(self._console.width - 2, WIDTH + 20))

    @contextmanager
    def running(self) -> Iterator[None]:
        """Show it as long as the block lasts."""
        self._moving.start(refresh=True)
        try:
            yield
        finally:
            self._moving.stop()

    @contextmanager
    def aside(self) -> Iterator[None]:
        """Stand still while a person is asked."""
        self._moving.stop()
        try:
            yield
        finally:
            self._moving = self._anew()
            self._moving.start(refresh=True)


class PlainView:
    """Writes a run as lines, one after another; a line of live figures each second of a step."""

    EVERY_S = 1.0

    def __init__(self) -> None:
        self._told_s = 0.0
        self._resting = False

    def __call__(self, event: Any) -> None:  # noqa: ANN401  (an event of a run)
        """Write an event."""
        if isinstance(event, Live):
            self._live(event)
            return
        if isinstance(event, Resting):
            if not self._resting:
                self._say(f"      rest {event.left_s:.0f} s")
            self._resting = True
            return
        self._resting, self._told_s = False, 0.0
        for line in words_of(event):
            self._say(line)

    def _live(self, live: Live) -> None:
        if live.t_s < self._told_s:
            return
        self._told_s = live.t_s + self.EVERY_S
        parts = [f"{live.t_s:6.1f} s", _part(_seen(live.output_w), "W"), _part(live.thd_n, "% THD+N", times=100)]
        parts += [_part(_seen(live.supply_w), "W from the supply"), _part(_seen(live.heat_w), "W heat")]
        self._say("      " + "  ".join(part for part in parts if part))

    def _say(self, line: str) -> None:
        print(line, file=sys.stderr, flush=True)

    @contextmanager
    def running(self) -> Iterator[None]:
        """Nothing to begin or end."""
        yield

    @contextmanager
    def aside(self) -> Iterator[None]:
        """Nothing moves."""
        yield


class JsonLines:
    """Writes each event as one JSON object a line, at once."""

    def __call__(self, event: Any) -> None:  # noqa: ANN401  (an event of a run)
        """Write an event."""
        print(event.model_dump_json(), flush=True)

    @contextmanager
    def running(self) -> Iterator[None]:
        """Nothing to begin or end."""
        yield

    @contextmanager
    def aside(self) -> Iterator[None]:
        """Nothing moves."""
        yield


def _seen(power_w: float | None) -> float | None:
    return 0.0 if power_w is not None and abs(power_w) < LEAST_W else power_w


def _watts(power_w: float) -> str:
    return f"{power_w:.4g} W" if abs(power_w) >= LEAST_W else "0 W"


def _part(value: float | None, unit: str, *, times: float = 1.0) -> str:
    return "" if value is None else f"{times * value:.3g} {unit}"
