"""The recorder's own floor as text: channel by channel, then what it means for THD+N."""

from collections.abc import Iterable, Sequence
from math import log10
from typing import Protocol

from wattproof.errors import Notice
from wattproof.measure import Figure
from wattproof.quantity import interval_text
from wattproof.report.faces import face_value


class FloorChannel(Protocol):
    """One channel by itself."""

    @property
    def words(self) -> str: ...  # noqa: D102
    @property
    def noise(self) -> Figure: ...  # noqa: D102
    @property
    def noise_a(self) -> Figure: ...  # noqa: D102
    @property
    def noise_re_full_scale(self) -> float | None: ...  # noqa: D102
    @property
    def thd_n(self) -> Figure | None: ...  # noqa: D102
    @property
    def thd(self) -> Figure | None: ...  # noqa: D102
    @property
    def tone(self) -> Figure | None: ...  # noqa: D102
    @property
    def gain(self) -> float | None: ...  # noqa: D102
    @property
    def notices(self) -> tuple[Notice, ...]: ...  # noqa: D102


class FloorReach(Protocol):
    """The lowest THD+N that can be seen at a level."""

    @property
    def output(self) -> str: ...  # noqa: D102
    @property
    def level_v_rms(self) -> float: ...  # noqa: D102
    @property
    def thd_n(self) -> float: ...  # noqa: D102


def floor_text(
    bench: str,
    channels: Sequence[FloorChannel],
    reach: Sequence[FloorReach],
    *,
    tone_hz: float,
    level_v_rms: float,
    rate_hz: float,
) -> str:
    """Write what the recorder and the generator add themselves.

    Parameters
    ----------
    bench : str
        Its name.
    channels : sequence of FloorChannel
    reach : sequence of FloorReach
    tone_hz : float, Hz
        The looped-back tone.
    level_v_rms : float, V
        Its level at the generator's output.
    rate_hz : float, Hz
        Samples a second.

    Returns
    -------
    str
        Plain text; ± spans 95 %.
    """
    lines = [f"Floor of {bench}: {rate_hz:g} samples a second, looped-back tone {tone_hz:g} Hz at {level_v_rms:.3g} V"]
    for channel in channels:
        lines += ["", f"  {channel.words}", *_noise_lines(channel), *_tone_lines(channel)]
        lines += [f"    ! {notice.code}: {notice.message} {notice.hint}".rstrip() for notice in channel.notices]
    return "\n".join([*lines, *_reach_lines(reach)]) + "\n"


def _noise_lines(channel: FloorChannel) -> list[str]:
    share = channel.noise_re_full_scale
    beside = f", {20 * log10(share):.1f} dB re a sine at full scale" if share else ""
    return [
        f"    noise              {_small(channel.noise)} r.m.s.{_band(channel.noise)}{beside}",
        f"    noise, A-weighted  {_small(channel.noise_a)} r.m.s.",
    ]


def _band(figure: Figure) -> str:
    band = figure.conditions.get("bandwidth_hz")
    return f" in {band[0]:g}-{band[1]:g} Hz" if isinstance(band, tuple) else ""


def _tone_lines(channel: FloorChannel) -> list[str]:
    if channel.tone is None:
        return ["    the looped-back tone is not heard here"]
    gain = f", {channel.gain:#.4g} times what was asked for" if channel.gain is not None else ""
    lines = [f"    tone               {_small(channel.tone)} r.m.s.{gain}"]
    lines += [f"    THD+N              {face_value(channel.thd_n)}"] if channel.thd_n is not None else []
    lines += [f"    THD                {face_value(channel.thd)}"] if channel.thd is not None else []
    return lines


def _reach_lines(reach: Iterable[FloorReach]) -> list[str]:
    told = [f"    output {one.output} at {one.level_v_rms:8.3g} V r.m.s.: {100 * one.thd_n:.2g} %" for one in reach]
    if not told:
        return []
    return [
        "",
        "  No amplifier can be seen to have a lower THD+N than this: noise over level, with the distortion of the",
        "  loop-back where it was heard. Within three times of it a figure is the recorder's as much as the",
        "  amplifier's.",
        *told,
    ]


def _small(figure: Figure) -> str:
    """Write a small quantity in thousandths or millionths of its unit."""
    for prefix, factor in (("", 1.0), ("m", 1e3), ("µ", 1e6)):
        if abs(figure.value) * factor >= 1 or prefix == "µ":
            break
    scaled = {"value": figure.value * factor, "u": figure.u * factor, "unit": f"{prefix}{figure.unit}"}
    return interval_text(figure.model_copy(update=scaled))
