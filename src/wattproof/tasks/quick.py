"""A bench in a few words, for a look at a capture before there is a bench file."""

import re
from collections.abc import Sequence
from typing import get_args

from wattproof.bench import Bench, BenchChannel, Load, Role, UnknownLoad, find_load
from wattproof.errors import NeedsAnswerError, SettingsError
from wattproof.waveform import Recording

_ASSIGNMENT = re.compile(r"(?P<role>[a-z_]+)(?::(?P<output>[^=]+))?=(?P<input>.+)")


def channels_said(words: Sequence[str]) -> tuple[BenchChannel, ...]:
    """Read ``ROLE=INPUT`` and ``ROLE:OUTPUT=INPUT``.

    Examples
    --------
    >>> [(c.role, c.output, c.input) for c in channels_said(["load_voltage:B=2", "drive_voltage=CH1"])]
    [('load_voltage', 'B', 2), ('drive_voltage', 'A', 'CH1')]
    """
    return tuple(_channel(word) for word in words)


def _channel(word: str) -> BenchChannel:
    match = _ASSIGNMENT.fullmatch(word.strip())
    roles = get_args(Role)
    if match is None or match["role"] not in roles:
        raise SettingsError(
            f'"{word}" says no channel.',
            why=f"a channel is ROLE=INPUT or ROLE:OUTPUT=INPUT, with a role of {', '.join(roles)}",
            hint="Write for example --channel load_voltage=2",
        )
    where = match["input"].strip()
    number = int(where) if where.isdecimal() and int(where) > 0 else where
    return BenchChannel(input=number, role=match["role"], output=(match["output"] or "A").strip())


def quick_bench(
    recording: Recording,
    bench: Bench | None,
    *,
    channels: Sequence[BenchChannel],
    volts_per_unit: float | None,
) -> Bench | None:
    """Put what was said on the command line over the bench file, or make a bench of it alone.

    Raises
    ------
    NeedsAnswerError
        A scale was given for a recording of several channels and none was named as the load voltage.
    """
    if not channels and volts_per_unit is None:
        return bench
    said = tuple(channels) or (bench.channels if bench is not None else ()) or _only_channel(recording)
    if volts_per_unit is not None:
        said = tuple(_scaled(channel, volts_per_unit) for channel in said)
    if bench is None:
        return Bench(name="quick look", channels=said)
    return bench.model_copy(update={"channels": said})


def _only_channel(recording: Recording) -> tuple[BenchChannel, ...]:
    if len(recording.channels) == 1:
        return (BenchChannel(input=1, role="load_voltage"),)
    names = ", ".join(channel.name for channel in recording.channels)
    raise NeedsAnswerError(
        f"Which channel of {recording.source} is the load voltage?",
        why=f"it has {len(recording.channels)} channels: {names}",
        hint="Say it: --channel load_voltage=1 (and, if it is there, --channel drive_voltage=2)",
    )


def _scaled(channel: BenchChannel, volts_per_unit: float) -> BenchChannel:
    if channel.role != "load_voltage":
        return channel
    return channel.model_copy(update={"scale": volts_per_unit, "scale_u": 0.0, "offset": 0.0, "offset_u": 0.0})


def chosen_load(bench: Bench | None, *, load: str | None, load_ohm: float | None) -> Load | None:
    """Find the load in use: the named one, plain ohms, or the bench's only one.

    Raises
    ------
    SettingsError
        The name is none of the bench's loads, or the ohms are not above zero.
    """
    if load_ohm is not None:
        if not load_ohm > 0:
            raise SettingsError("A load has more than 0 ohm.", why=f"{load_ohm:g} was given", hint="--load-ohm 4")
        return Load(name=f"{load_ohm:g} ohm", resistance_ohm=load_ohm)
    if load is not None:
        found = find_load(bench or Bench(), load)
        if isinstance(found, UnknownLoad):
            raise SettingsError(f'There is no load "{load}".', why="the bench file does not name it", hint=found.cure)
        return found.load
    return bench.loads[0] if bench is not None and len(bench.loads) == 1 else None
