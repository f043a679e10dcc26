"""A session as a site tells of it: its report, and its figures on the site's common terms."""

from collections.abc import Callable
from typing import TYPE_CHECKING

from wattproof.judge import Comparison, Judged, Terms, Value, on_terms
from wattproof.measure import Figure
from wattproof.tasks.comparing import subject_of
from wattproof.tasks.published import published_session

if TYPE_CHECKING:
    from wattproof.archive import Archive, Session
    from wattproof.publish import SiteFigure, SiteRating, SiteSession

NAMES = ("power_at_thd_1", "idle_current", "noise_rms_a")


def site_session(store: "Archive", session: "Session", tell: Callable[[str], None] | None) -> "tuple[SiteSession, str]":
    """Give what the site tells of a session, and the session's report as a page.

    Parameters
    ----------
    store, session
        The session; measured, fitted and judged where it is not yet.
    tell : callable or None
        Gets a line before each capture that is measured.
    """
    from wattproof.publish import (
        SITE_LOADS_OHM,
        SITE_SUPPLY_V,
        SITE_THD_N,
        SiteSession,
        document_html,
        plain_words,
        session_document,
    )
    from wattproof.report import amplifier_facts

    published = published_session(store, session, tell=tell)
    document = session_document(published)
    terms = Terms(load_ohm=SITE_LOADS_OHM, supply_v=SITE_SUPPLY_V, thd_n=(SITE_THD_N,))
    found = on_terms(subject_of(session, store.root, tell), terms=terms)
    facts = tuple(amplifier_facts(session.amplifier))
    told = SiteSession(
        session=session.id,
        day=published.day,
        maker=session.amplifier.maker,
        model=session.amplifier.model,
        bench=session.bench.name,
        note=session.record.note,
        price=dict(facts).get("Price", ""),
        facts=facts,
        lead=tuple(plain_words(paragraph.words) for paragraph in document.lead),
        figures=_figures(found),
        ratings=() if published.judged is None else _ratings(published.judged),
        driven=found.terms.driven,
    )
    return told, document_html(document)


def _figures(found: Comparison) -> "tuple[SiteFigure, ...]":
    return tuple(
        _figure(row.name, row.conditions.get("load_ohm"), value)
        for row in found.rows
        for value in row.values
        if row.name in NAMES and value is not None
    )


def _figure(name: str, load_ohm: object, value: Value) -> "SiteFigure":
    from wattproof.publish import SiteFigure
    from wattproof.report import face_value

    figure = Figure(**value.quantity.model_dump(exclude={"budget"}), name=name, output=None, origin=value.where)
    return SiteFigure(
        name=name,
        load_ohm=float(load_ohm) if isinstance(load_ohm, int | float) else None,
        value=figure.value,
        text=face_value(figure),
        carried=value.basis != "measured",
    )


def _ratings(judged: Judged) -> "tuple[SiteRating, ...]":
    from wattproof.publish import SiteRating

    return tuple(
        SiteRating(rating=judged.ratings[one.rating], reading=one.reading.words, verdict=one.verdict)
        for one in judged.judgements
        if not one.reading.stretched
    )
