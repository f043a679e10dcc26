"""All that a report of a session tells, gathered: figures, verdicts, models, common terms, predictions, words."""

from collections.abc import Callable
from datetime import datetime
from typing import TYPE_CHECKING

from wattproof.fit import Prediction
from wattproof.judge import Comparison, Subject, Terms, on_terms
from wattproof.measure import CaptureResult, Figure
from wattproof.tasks.comparing import subject_of
from wattproof.tasks.foreseeing import curve_of, foreseen_by, nominal_loads, rated_supply_v
from wattproof.tasks.judging import judge

if TYPE_CHECKING:
    from wattproof.archive import Archive, Session
    from wattproof.publish import Foreseen, Photo, PublishedSession, Remarks

_LIMIT = "power_at_thd_"
_USUAL = 0.01


def published_session(
    store: "Archive",
    session: "Session",
    *,
    generated: datetime | None = None,
    tell: Callable[[str], None] | None = None,
) -> "PublishedSession":
    """Gather what a report tells.

    Parameters
    ----------
    store : Archive
    session : Session
    generated : datetime or None
        When the report is made; None: not said.
    tell : callable or None
        Gets a line before each capture that is measured.
    """
    from wattproof.publish import PublishedSession

    subject = subject_of(session, store.root, tell)
    rated_v = rated_supply_v(session.amplifier)
    terms = _on_terms(subject, rated_v)
    remarks, photos = kept_words(store, session)
    supply_v = terms[0].terms.supply_v if terms else rated_v
    table, curve = _foreseen(subject, supply_v)
    return PublishedSession(
        session=session.id,
        day=session.record.started.date().isoformat(),
        amplifier=session.amplifier,
        bench=session.bench,
        results=tuple(subject.results),
        judged=judge(str(session.folder), archive=store.root).judged if session.amplifier.ratings else None,
        models=tuple(subject.models),
        on_terms=terms,
        terms_by="chosen" if rated_v is None else "rated",
        foreseen=table,
        curve=curve,
        remarks=remarks,
        photos=photos,
        answers=store.answers(session),
        sheet=store.run_sheet(session),
        note=session.record.note,
        generated=generated,
    )


def _foreseen(subject: Subject, supply_v: float | None) -> tuple[tuple["Foreseen", ...], tuple[Prediction, ...]]:
    """Let the model say what it can at 1 % of distortion, or at the limit nearest to it."""
    model = next(iter(subject.models), None)
    if model is None or supply_v is None:
        return (), ()
    thd_n = min(max(_USUAL, model.thd_n[0]), model.thd_n[1])
    table = foreseen_by(model, supply_v=supply_v, thd_n=thd_n)
    return table, curve_of(model, supply_v=supply_v, thd_n=thd_n)


def kept_words(store: "Archive", session: "Session") -> tuple["Remarks | None", tuple["Photo", ...]]:
    """Give what the person said last beside the figures, with the photographs in their order."""
    from wattproof.publish import parse_remarks, photo_kept

    kept = store.remarks(session)
    if kept is None:
        return None, ()
    remarks = parse_remarks(kept.words, file="words.toml")
    photos = (photo_kept(kept.photos[one.file], name=one.file, caption=one.caption) for one in remarks.photos)
    return remarks, tuple(photos)


def _on_terms(subject: Subject, supply_v: float | None) -> tuple[Comparison, ...]:
    """Put the session on common terms, once for each number of outputs that were driven at once."""
    by_driven: dict[int, list[Figure]] = {}
    for result in subject.results:
        powers = _powers(result)
        if powers:
            by_driven.setdefault(len({figure.output for figure in powers}), []).extend(powers)
    return tuple(
        on_terms(subject, terms=_terms(figures, subject, driven=driven, supply_v=supply_v))
        for driven, figures in sorted(by_driven.items())
    )


def _powers(result: CaptureResult) -> list[Figure]:
    """Give the powers at a limit of a ramp, or those of a typed reading whose distortion was read."""
    if result.kind == "readings":
        return [f for f in result.figures if f.name == "load_power" and result.figure("thd_n", f.output) is not None]
    return [figure for figure in result.figures if figure.name.startswith(_LIMIT)]


def _terms(figures: list[Figure], subject: Subject, *, driven: int, supply_v: float | None) -> Terms:
    loads = [load for figure in figures if isinstance(load := figure.conditions.get("load_ohm"), int | float)]
    limits = {limit for figure in figures if isinstance(limit := figure.conditions.get("thd_n"), float)}
    return Terms(
        load_ohm=nominal_loads(loads, subject.amplifier),
        supply_v=supply_v,
        thd_n=tuple(sorted(limits)) or (_USUAL,),
        driven=driven,
    )
