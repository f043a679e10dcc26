"""What all pages share: settings, templates, forms that are ours, work that takes long, runs that are watched."""

from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from functools import cached_property
from typing import TYPE_CHECKING, Any

from fastapi import FastAPI, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from wattproof import __version__, tasks
from wattproof.web import tokens
from wattproof.web.jobs import Jobs
from wattproof.web.settings import WebSettings
from wattproof.web.shelf import Shelf
from wattproof.web.tries import Tries
from wattproof.web.uploads import Trays
from wattproof.web.watching import Watching

if TYPE_CHECKING:
    import jinja2

NAVIGATION = (
    ("amplifiers", "/", "Amplifiers"),
    ("bench", "/bench", "Bench"),
    ("sheet", "/sheet", "Run sheet"),
    ("run", "/run", "Run"),
    ("findings", "/findings", "Findings"),
    ("publish", "/publish", "Publish"),
    ("import", "/import", "Import"),
)
"""The pages in the order of a bench day: key, address, name."""


class Desk:
    """Holds what a running workbench holds; one for each app.

    Parameters
    ----------
    settings : WebSettings
    """

    def __init__(self, settings: WebSettings) -> None:
        self.settings = settings
        self.jobs = Jobs()
        self.looks = tasks.Looks()
        self.tries = Tries()
        self.shelf = Shelf()
        self.trays = Trays(self.shelf)
        self.place = tasks.Workbench(settings.archive)
        self.watching = Watching(self.place)
        self.closing: list[Callable[[], None]] = [self.shelf.close]

    @asynccontextmanager
    async def lifespan(self, _app: FastAPI) -> AsyncIterator[None]:
        """Open and close what the workbench holds; a run goes on without it."""
        try:
            yield
        finally:
            self.jobs.close()
            await self.watching.close()
            for close in self.closing:
                close()

    def page(self, request: Request, template: str, *, status: int = 200, **said: Any) -> Response:  # noqa: ANN401
        """Answer with a page.

        Parameters
        ----------
        request : Request
        template : str
            File in ``templates/``.
        status : int
        **said
            What the template is told beside what every page knows.
        """
        browser = getattr(request.state, "browser", "")
        known = {
            "navigation": NAVIGATION,
            "here": said.pop("here", ""),
            "form_token": tokens.form_token(self.settings.secret, browser),
            "version": __version__,
            "asset": self.looks.version,
            "jobs": self.jobs.of(browser),
        }
        text = self._templates.get_template(template).render(**known, **said)
        return HTMLResponse(text, status)

    def go(self, address: str, *, kept: bool = False) -> Response:
        """Send the browser on after a form; `kept` says that what was typed is safe here now."""
        answer = RedirectResponse(address, 303)
        if kept:
            answer.set_cookie("kept", "yes", max_age=30, samesite="strict")  # read by keep.js: no secret
        return answer

    @cached_property
    def _templates(self) -> "jinja2.Environment":
        import jinja2

        environment = jinja2.Environment(
            loader=jinja2.PackageLoader("wattproof.web"),
            autoescape=True,
            undefined=jinja2.StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
        )
        environment.filters["typeset"] = self.looks.typeset
        return environment


def desk_of(request: Request) -> Desk:
    """Give the desk of the app that a request came to; for routes: ``desk: Annotated[Desk, Depends(desk_of)]``."""
    desk: Desk = request.app.state.desk
    return desk
