"""What a file was taken to be: its clock, its channels and their ranges, and everything that is doubtful about it."""

import math
from collections.abc import Iterator, Mapping

from pydantic import BaseModel, ConfigDict, Field

from wattproof.errors import Notice
from wattproof.readers.tally import OFF_SCALE, Tally, flat_extremes
from wattproof.waveform import Recording

BLOCK_VALUES = 1 << 18


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class ChannelSummary(_Part):
    """One track: name, unit and range; NaN and off-scale samples are left out of mean, rms, min and max."""

    name: str
    unit: str | None
    mean: float | None
    rms: float | None
    min: float | None
    max: float | None
    clipped: int = Field(description="samples that stand at the recorder's limit, or ran off its scale")


class WarningSummary(_Part):
    """Something doubtful about the file."""

    code: str
    message: str
    hint: str = ""


class FileSummary(_Part):
    """What `wattproof read` says of one file."""

    file: str
    reader: str
    sample_rate_hz: float
    samples: int
    duration_s: float
    start_s: float
    channels: tuple[ChannelSummary, ...]
    metadata: Mapping[str, str]
    warnings: tuple[WarningSummary, ...]


def summarize(recording: Recording) -> FileSummary:
    """Go through a record once, block by block, and say what it holds and what is doubtful about it.

    Parameters
    ----------
    recording : Recording
        As `open_recording` gives it; a channel of unknown full scale that stands at its extremes is gone through twice.

    Returns
    -------
    FileSummary
        The recording's own notices first, then those found in the samples: ``clipped-input``, ``flat-extremes``,
        ``above-full-scale``, ``off-scale``, ``nan-samples``.

    Raises
    ------
    BrokenFileError
        The samples end before the length found at opening.
    """
    block_samples = max(1, BLOCK_VALUES // len(recording.channels))
    tally = Tally(recording.channels)
    for block in recording.blocks(block_samples):
        tally.add(block)
    told = {notice.code for notice in recording.notices}
    summaries: list[ChannelSummary] = []
    found: list[Notice] = []
    for index in range(len(recording.channels)):
        clipped, notices = _limits(recording, tally, index, block_samples)
        found += [notice for notice in (*notices, *_untrusted(recording, tally, index)) if notice.code not in told]
        summaries.append(_channel(recording, tally, index, clipped))
    return FileSummary(
        file=recording.source,
        reader=recording.reader,
        sample_rate_hz=recording.rate_hz,
        samples=recording.n_samples,
        duration_s=recording.n_samples / recording.rate_hz,
        start_s=recording.start_s,
        channels=tuple(summaries),
        metadata=dict(recording.metadata),
        warnings=tuple(
            WarningSummary(code=notice.code, message=notice.message, hint=notice.hint)
            for notice in (*recording.notices, *found)
        ),
    )


def _channel(recording: Recording, tally: Tally, index: int, clipped: int) -> ChannelSummary:
    channel, count = recording.channels[index], int(tally.count[index])
    return ChannelSummary(
        name=channel.name,
        unit=channel.unit,
        mean=float(tally.total[index]) / count if count else None,
        rms=math.sqrt(float(tally.squares[index]) / count) if count else None,
        min=float(tally.low[index]) if count else None,
        max=float(tally.high[index]) if count else None,
        clipped=clipped + int(tally.off_scale[index]),
    )


def _limits(recording: Recording, tally: Tally, index: int, block_samples: int) -> tuple[int, list[Notice]]:
    """Say how many samples stand at the recorder's limit, and what to tell the person about it."""
    channel = recording.channels[index]
    if channel.full_scale is None:
        samples, runs = flat_extremes(
            recording, tally.low[index], tally.high[index], index=index, block_samples=block_samples
        )
        return samples, [_flat(channel.name, samples, runs)] if samples else []
    above = int(tally.above[index])
    if above:  # a float file: its numbers are not limited at full scale, so nothing stands there
        return 0, [_above(channel.name, above, channel.full_scale, tally, index)]
    samples, runs = int(tally.rails.samples[index]), int(tally.rails.runs[index])
    return samples, [_clipped(channel.name, samples, runs)] if samples else []


def _untrusted(recording: Recording, tally: Tally, index: int) -> Iterator[Notice]:
    name, missing, off = recording.channels[index].name, int(tally.nan[index]), int(tally.off_scale[index])
    if missing:
        yield Notice(
            code="nan-samples",
            message=f"Channel {name}: {missing} of {recording.n_samples} samples are no number (NaN).",
            hint="Measure a part of the record without them, or capture it again.",
            numbers={"samples": missing},
        )
    if off:
        yield Notice(
            code="off-scale",
            message=f"Channel {name}: {off} samples are {OFF_SCALE:g} or more, the mark for a trace off the screen.",
            hint="Choose a larger range on the recorder and capture it again.",
            numbers={"samples": off},
        )


def _clipped(name: str, samples: int, runs: int) -> Notice:
    return Notice(
        code="clipped-input",
        message=f"Channel {name}: {samples} samples in {runs} runs stand at full scale: the recorder clipped.",
        hint="Turn the recorder's input down or use a larger divider, then capture it again.",
        numbers={"samples": samples, "runs": runs},
    )


def _flat(name: str, samples: int, runs: int) -> Notice:
    return Notice(
        code="flat-extremes",
        message=(
            f"Channel {name}: {samples} samples in {runs} runs stand at exactly the same lowest or highest value: "
            "the recorder's range may have ended there."
        ),
        hint="If it was not the amplifier that clipped, choose a larger range and capture it again.",
        numbers={"samples": samples, "runs": runs},
    )


def _above(name: str, samples: int, full_scale: float, tally: Tally, index: int) -> Notice:
    peak = max(abs(float(tally.low[index])), abs(float(tally.high[index])))
    return Notice(
        code="above-full-scale",
        message=f"Channel {name}: {samples} samples exceed full scale ({full_scale:g}); the largest is {peak:.6g}.",
        hint="Nothing was clipped in reading. If the numbers are volts already, a scale of 1 is right.",
        numbers={"samples": samples, "peak": peak},
    )
