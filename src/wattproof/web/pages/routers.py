"""Every part's pages in one list; a new part is added here."""

from wattproof.web.pages import (
    amplifier_papers,
    amplifiers,
    benches,
    comparing,
    findings,
    importing,
    pairing,
    publishing,
    running,
    sheets,
    working,
)

ROUTERS = (
    pairing.router,
    working.router,
    amplifiers.router,
    amplifier_papers.router,
    benches.router,
    comparing.router,
    sheets.router,
    running.router,
    findings.router,
    publishing.router,
    importing.router,
)
