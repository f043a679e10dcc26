"""The same tasks for scripts: typed routes that answer what the commands print with `--json`."""

from wattproof.web.api.asking import NOT_SENT
from wattproof.web.api.faults import Fault, FaultAnswer, fault_of
from wattproof.web.api.routes import NO_ROUTE, ROUTES, router

__all__ = ["NOT_SENT", "NO_ROUTE", "ROUTES", "Fault", "FaultAnswer", "fault_of", "router"]
