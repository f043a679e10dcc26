"""`bench_floor`: what the recorder and the generator themselves add, before an amplifier is blamed for it."""

from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from functools import partial
from math import hypot, sqrt
from pathlib import Path

import numpy as np

from wattproof.bench import Bench, BenchChannel, parse_bench
from wattproof.capture import Drive, Guard, Operator, Rig, SilentDrive, ToneDrive, guard_tracks, open_rig
from wattproof.errors import (
    CaptureFailedError,
    GuardTripError,
    MeasureError,
    Notice,
    RefusedError,
    SettingsError,
)
from wattproof.measure import CaptureResult, Figure, Kind, lay_on_bench
from wattproof.measure import measure as measure_capture
from wattproof.plan import StepLimits
from wattproof.tasks.files import text_of
from wattproof.tasks.floored import ChannelFloor, Floor, Reach
from wattproof.waveform import MemoryRecording, Waveform

ATTEMPTS = 3
"""A capture whose samples were lost is taken again; so many in all."""

LEAST_SECONDS, MOST_SECONDS = 0.5, 60.0
"""Less holds no noise at 20 Hz worth the name; more need not be kept in memory."""

EDGE_S = 0.25
"""Of the tone, left out at either end: it rises and falls softly, and a coupling capacitor settles."""

HEARD_OVER_NOISE = 10.0
"""A channel hears the tone if it is so many times its noise."""

DECADES = 4
"""For so many levels, each a tenth of the one before, is told how low THD+N can be seen."""

SHARE_OF_FULL_SCALE = 0.5
"""The tone's level where none is given: 6 dB below the generator's full scale."""

UNITS = {"load_current": "A", "supply_current": "A", "temperature": "K"}
"""Of the roles that are no voltages."""

WIRING = (
    "Wire the loop-back: 1. Supply output off, amplifier switched off; take its input cable and its output leads off "
    "the bench. 2. Lead the generator's output to the recorder's drive input and to the load voltage inputs, at the "
    "dividers' ends where the amplifier's terminals would be. 3. Nothing else is connected to them: never loop back "
    "over a live amplifier, and never connect the interface's ground to a bridged output."
)


def bench_floor(
    bench: Path,
    *,
    seconds: float = 5.0,
    tone_hz: float = 997.0,
    level_v_rms: float | None = None,
    wired: bool = False,
    operator: Operator | None = None,
    tell: Callable[[str], None] | None = None,
) -> Floor:
    """Measure the recorder's own noise, with nothing driven, and its distortion, with a tone looped back.

    The amplifier is switched off and disconnected for it. What is found is the floor of every later capture: no THD+N
    lower than it can be seen.

    Parameters
    ----------
    bench : Path
        bench.toml with a [rig].
    seconds : float, s
        Length of each of the two captures.
    tone_hz : float, Hz
        The tone that is looped back.
    level_v_rms : float or None, V
        Its level at the generator's output; half of its full scale when left out.
    wired : bool
        Says that the loop-back is wired and the amplifier disconnected, where nobody is there to ask.
    operator : Operator or None
        Who wires it, and is asked to.
    tell : callable or None
        Gets a line before each capture.

    Returns
    -------
    Floor
        Every channel's noise; distortion and gain of those that hear the tone; what this means for THD+N by level.

    Raises
    ------
    FileMissingError, SettingsError
        The bench file is not there or faulty, or a number makes no sense.
    RefusedError
        Nobody has said that the loop-back is wired.
    RigError, CaptureFailedError
        The rig cannot play, or loses samples again and again.
    GuardTripError
        The guard stopped it: an input is overdriven, or something that is no loop-back is connected.
    """
    table = parse_bench(text_of(bench), file=bench.name)
    _sensible(seconds, tone_hz=tone_hz, level_v_rms=level_v_rms)
    say = tell or (lambda line: None)  # noqa: ARG005
    with open_rig(table, operator=operator, folder=bench.parent) as rig:
        simulated = table.rig is not None and table.rig.kind == "simulated"
        if not simulated:
            _wire(wired, operator, say)
        level_v_rms = level_v_rms or _usual_level_v_rms(table)
        say(f"listening to silence for {seconds:g} s ...")
        quiet = _captured(rig, table, partial(_silence, rig, seconds), tone_hz=None)
        say(f"listening to {tone_hz:g} Hz at {level_v_rms:.3g} V for {seconds:g} s ...")
        loud = _captured(rig, table, partial(_tone, rig, seconds, tone_hz, level_v_rms), tone_hz=tone_hz)
        loud = _between_edges(loud, seconds)
    channels = tuple(
        _floor_of(channel, quiet, loud, tone_hz=tone_hz, level_v_rms=level_v_rms)
        for channel in table.channels
        if isinstance(channel.input, int) and channel.input <= len(quiet.channels)
    )
    return Floor(
        bench=table.name,
        sample_rate_hz=quiet.rate_hz,
        seconds=seconds,
        tone_hz=tone_hz,
        level_v_rms=level_v_rms,
        channels=channels,
        reach=tuple(reach for channel in channels for reach in _reach(channel)),
    )


def _sensible(seconds: float, *, tone_hz: float, level_v_rms: float | None) -> None:
    """Refuse numbers that no capture can follow."""
    if not LEAST_SECONDS <= seconds <= MOST_SECONDS:
        raise SettingsError(
            f"The floor is not measured in {seconds:g} s.",
            why=f"it takes {LEAST_SECONDS:g} to {MOST_SECONDS:g} s",
            hint="Give --seconds 5",
        )
    if not tone_hz > 0:
        raise SettingsError(f"{tone_hz:g} Hz is no tone.", why="a tone is above 0 Hz", hint="Give --tone-hz 997")
    if level_v_rms is not None and not level_v_rms > 0:
        raise SettingsError(
            f"{level_v_rms:g} V is no level.", why="the looped-back tone has a level above 0", hint="Leave it out."
        )


def _wire(wired: bool, operator: Operator | None, say: Callable[[str], None]) -> None:
    """Have the loop-back wired, or be told that it is."""
    if wired:
        return
    if operator is None:
        raise RefusedError(
            "Nobody has said that the loop-back is wired and the amplifier disconnected.",
            why=WIRING,
            hint="Wire it, then say so: --wired",
        )
    say("Cautions: supply off before leads are moved, fuse near the source, no rings, eye protection.")
    operator.do(WIRING, hint="Go on when it is done.")


def _usual_level_v_rms(table: Bench) -> float:
    full_scale_v = 2.0 if table.rig is None else table.rig.drive_v_full_scale
    return SHARE_OF_FULL_SCALE * full_scale_v / sqrt(2)


def _silence(rig: Rig, seconds: float) -> Drive:
    return SilentDrive(seconds=seconds, outputs=rig.outputs, rate_hz=rig.rate_hz)


def _tone(rig: Rig, seconds: float, tone_hz: float, level_v_rms: float) -> Drive:
    return ToneDrive(
        level_v_rms=level_v_rms,
        seconds=seconds + 2 * EDGE_S,
        tone_hz=tone_hz,
        outputs=rig.outputs,
        rate_hz=rig.rate_hz,
    )


def _between_edges(loud: MemoryRecording, seconds: float) -> MemoryRecording:
    """Leave out where the tone rises and falls."""
    start = round(EDGE_S * loud.rate_hz)
    return replace(loud, waveform=loud.read(start, start + round(seconds * loud.rate_hz)))


def _captured(rig: Rig, table: Bench, make: Callable[[], Drive], *, tone_hz: float | None) -> MemoryRecording:
    """Play and record; a capture that lost samples is taken again."""
    for attempt in range(1, ATTEMPTS + 1):
        try:
            return _played(rig, table, make(), tone_hz=tone_hz)
        except CaptureFailedError:
            if attempt == ATTEMPTS:
                raise
    raise AssertionError


def _played(rig: Rig, table: Bench, drive: Drive, *, tone_hz: float | None) -> MemoryRecording:
    limits = StepLimits(
        load_voltage_v=table.limits.load_voltage_v,
        load_dc_v=table.limits.load_dc_v,
        load_current_a=table.limits.load_current_a,
    )
    guard = Guard(tracks=guard_tracks(table, rig.channels), limits=limits, rate_hz=rig.rate_hz, tone_hz=tone_hz)
    with rig.play(drive, guard) as take:
        samples = np.concatenate([np.empty((0, len(rig.channels))), *(block.samples for block in take)])
        trip = take.trip
    if trip is not None:
        raise GuardTripError(trip.message, why=trip.why, hint=trip.hint)
    wave = Waveform(samples=np.ascontiguousarray(samples.T), rate_hz=rig.rate_hz, channels=rig.channels)
    return MemoryRecording(waveform=wave, source="silence" if tone_hz is None else "loop-back", reader="rig")


def _floor_of(
    channel: BenchChannel, quiet: MemoryRecording, loud: MemoryRecording, *, tone_hz: float, level_v_rms: float
) -> ChannelFloor:
    """Measure one channel by itself, as if it were the load voltage: noise and distortion know no roles."""
    unit = UNITS.get(channel.role, "V")
    output = channel.output if channel.role.startswith("load") else None
    silent = _measured(channel, quiet, "idle", tone_hz=None)
    named = {figure.name: _as(figure, unit, output) for figure in silent.figures}
    full_scale = channel.full_scale or quiet.channels[_index(channel)].full_scale
    peak = None if full_scale is None else abs(channel.scale) * full_scale
    told = silent.warnings
    found: dict[str, object] = {}
    with suppress(MeasureError):
        tone = _measured(channel, loud, "steady", tone_hz=tone_hz)
        heard = {figure.name: _as(figure, unit, output) for figure in tone.figures}
        level = heard["load_voltage_fundamental"]
        if level.value > HEARD_OVER_NOISE * named["noise_rms"].value:
            told = (*told, *tone.warnings)
            found = {
                "hears": True,
                "tone": level,
                "thd_n": heard.get("thd_n"),
                "thd": heard.get("thd_f"),
                "gain": level.value / level_v_rms if unit == "V" else None,
            }
    return ChannelFloor.model_validate(
        {
            "input": channel.input,
            "role": channel.role,
            "output": output,
            "unit": unit,
            "full_scale": peak,
            "noise": named["noise_rms"],
            "noise_a": named["noise_rms_a"],
            "dc": named["dc_offset"],
            "noise_re_full_scale": None if peak is None else named["noise_rms"].value / (peak / sqrt(2)),
            "hears": False,
            "notices": tuple(_named_by(notice, channel.role) for notice in told),
            **found,
        }
    )


def _index(channel: BenchChannel) -> int:
    return int(channel.input) - 1


def _measured(channel: BenchChannel, recording: MemoryRecording, kind: Kind, *, tone_hz: float | None) -> CaptureResult:
    alone = channel.model_copy(update={"role": "load_voltage", "output": "A"})
    record, notices = lay_on_bench(recording, bench=Bench(channels=(alone,)), tone_hz=tone_hz)
    return measure_capture(record, kind=kind, notices=notices)


def _named_by(notice: Notice, role: str) -> Notice:
    return replace(notice, message=notice.message.replace("load_voltage", role))


def _as(figure: Figure, unit: str, output: str | None) -> Figure:
    return figure.model_copy(update={"unit": unit if figure.unit == "V" else figure.unit, "output": output})


def _reach(channel: ChannelFloor) -> tuple[Reach, ...]:
    """Say how low THD+N can be seen at levels from full scale down: noise stays, the loop-back's distortion shrinks."""
    if channel.role != "load_voltage" or channel.full_scale is None:
        return ()
    thd = 0.0 if channel.thd is None else channel.thd.value
    levels_v_rms = [channel.full_scale / sqrt(2) * 10.0**-decade for decade in range(DECADES)]
    return tuple(
        Reach(output=channel.output or "A", level_v_rms=level, thd_n=hypot(channel.noise.value / level, thd))
        for level in levels_v_rms
    )
