"""What is told of captures that are void, and of recordings that ended when their recorder died."""

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from wattproof.errors import ArchiveError, MeasureError, Notice
from wattproof.measure import CaptureResult

if TYPE_CHECKING:
    from wattproof.archive import Archive, CaptureRecord, Session

Tell = Callable[[str], None] | None
Measuring = Callable[[Sequence["CaptureRecord"]], list[tuple[CaptureResult, ...]]]


def recover_if_it_can_be(store: "Archive", session: "Session", tell: Tell) -> None:
    """Keep what a dead recorder left; a disk that refuses this does not hide the figures that are there."""
    try:
        store.recover(session)
    except ArchiveError as error:
        if tell is not None:
            tell(f"What was left by a run that ended early is not kept yet. {error}")


def was_cut_off(record: "CaptureRecord") -> bool:
    """Tell whether the recorder died before the end of what it recorded."""
    return record.live is not None and record.live.cut_off


def measured_as_far_as_it_goes(record: "CaptureRecord", measured: Measuring, tell: Tell) -> tuple[CaptureResult, ...]:
    """Measure a recording that was cut off; where too little of it is there, say so in place of its figures."""
    cut = _cut_notice(record)
    try:
        (group,) = measured([record])
    except MeasureError as error:
        why = Notice(code=error.code, message=f"{error.message} {error.why}".strip(), hint=error.hint)
        return _without_figures(record, (cut, why), tell)
    return tuple(result.model_copy(update={"warnings": (*result.warnings, cut)}) for result in group)


def _cut_notice(record: "CaptureRecord") -> Notice:
    lasted = "" if record.live is None else f" after {record.live.n_samples / record.live.rate_hz:.3g} s"
    return Notice(
        code="recording-cut-off",
        message=f"The recording ended{lasted}, before the step did: the program or the machine stopped.",
        hint="Repeat the step if what is missing matters.",
    )


def in_place_of_void(record: "CaptureRecord", tell: Tell) -> tuple[CaptureResult, ...]:
    """Say that a capture is void in place of its figures."""
    notice = Notice(
        code="capture-void",
        message=f"Capture {record.number} is void and was left out: {record.description.void}",
        hint="Repeat its step if its figures are needed; the recording is kept.",
    )
    return _without_figures(record, (notice,), tell)


def _without_figures(record: "CaptureRecord", notices: tuple[Notice, ...], tell: Tell) -> tuple[CaptureResult, ...]:
    """Give a result with notices alone; without one where nobody has said what kind of capture it is."""
    if tell is not None:
        for notice in notices:
            tell(f"{record.folder}: {notice.message}")
    kind = record.description.kind
    return () if kind is None else (CaptureResult(file=record.file, kind=kind, warnings=notices),)
