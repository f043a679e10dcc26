"""The pages, one file a part of the job."""

from wattproof.web.pages.routers import ROUTERS

__all__ = ["ROUTERS"]
