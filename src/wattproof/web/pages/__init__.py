"""The pages, one file a part of the job."""

from wattproof.web.pages.pairing import router as pairing
from wattproof.web.pages.working import router as working

ROUTERS = (pairing, working)

__all__ = ["ROUTERS"]
