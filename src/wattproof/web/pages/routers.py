"""Every part's pages in one list; a new part is added here."""

from wattproof.web.pages import pairing, running, working

ROUTERS = (pairing.router, working.router, running.router)
