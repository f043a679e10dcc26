"""The workbench put together: gate, pages, JSON for scripts, and every fault told kindly."""

from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse, Response
from starlette.types import ASGIApp

from wattproof import __version__
from wattproof.errors import GuardTripError, InternalFaultError, PageError, WattproofError
from wattproof.web import api
from wattproof.web.desk import Desk
from wattproof.web.forms import MOST_FIELD_BYTES, MOST_FIELDS
from wattproof.web.gate import BodyTooLargeError, Gate
from wattproof.web.pages import ROUTERS
from wattproof.web.settings import WebSettings
from wattproof.web.static_files import Assets

STATUS = {"refused": 409, "guard-trip": 409, "file-missing": 404, "internal-fault": 500}
"""HTTP statuses of errors by their code; 400 of all others."""


class GatedApp(FastAPI):
    """Pages and routes behind the gate, which so stands also before the answer that tells a fault of ours."""

    def __init__(self, settings: WebSettings, **more: Any) -> None:  # noqa: ANN401
        super().__init__(**more)
        self._settings = settings

    def build_middleware_stack(self) -> ASGIApp:
        """Put the gate outermost."""
        return Gate(super().build_middleware_stack(), self._settings)


def create_app(settings: WebSettings) -> FastAPI:
    """Make the workbench.

    Parameters
    ----------
    settings : WebSettings

    Returns
    -------
    FastAPI
        Its ``state.desk`` holds what the pages share; it is closed when the server goes down.
    """
    desk = Desk(settings)
    app = GatedApp(
        settings,
        title="Wattproof",
        version=__version__,
        summary="The workbench's tasks for scripts on this machine.",
        docs_url=None,  # the usual page of it fetches its script from elsewhere
        redoc_url=None,
        openapi_url="/api/openapi.json",
        separate_input_output_schemas=False,  # an answer may leave out what has a default
        form_limits={
            "max_files": settings.most_files,
            "max_fields": MOST_FIELDS,
            "max_part_size": MOST_FIELD_BYTES,
        },
        lifespan=desk.lifespan,
    )
    app.state.desk = desk
    app.mount("/static", Assets(Path(__file__).parent / "static", desk.looks))
    for router in (*ROUTERS, api.router):
        app.include_router(router)
    app.add_exception_handler(WattproofError, _told(desk))
    app.add_exception_handler(HTTPException, _plain(desk))
    app.add_exception_handler(RequestValidationError, _not_understood(desk))
    app.add_exception_handler(BodyTooLargeError, _too_large(desk))
    app.add_exception_handler(Exception, _ours(desk))
    return app


Handler = Callable[[Request, Exception], Awaitable[Response]]


def told_error(desk: Desk, request: Request, error: WattproofError, *, status: int | None = None) -> Response:
    """Answer with an error: the object that the command line prints too, or a page that says the same."""
    status = status or STATUS.get(error.code, 409 if isinstance(error, GuardTripError) else 400)
    if request.url.path.startswith("/api/"):
        return JSONResponse(api.fault_of(error).model_dump(), status)
    return desk.page(request, "error.html.j2", status=status, error=error, title="That did not work")


def _told(desk: Desk) -> Handler:
    async def handler(request: Request, error: Exception) -> Response:
        if not isinstance(error, WattproofError):
            raise error
        return told_error(desk, request, error)

    return handler


def _plain(desk: Desk) -> Handler:
    async def handler(request: Request, error: Exception) -> Response:
        status = getattr(error, "status_code", 500)
        words = {404: "There is no such page.", 405: "That cannot be asked of this page."}
        said = PageError(
            words.get(status, str(getattr(error, "detail", "")) or "That did not work."),
            why=f"asked for {request.method} {request.url.path}",
            hint="GET /api/openapi.json tells every route."
            if request.url.path.startswith("/api/")
            else "Go on from one of the pages above.",
        )
        return told_error(desk, request, said, status=status)

    return handler


def _not_understood(desk: Desk) -> Handler:
    async def handler(request: Request, error: Exception) -> Response:
        faults = error.errors() if isinstance(error, RequestValidationError) else []
        why = "; ".join(f"{'.'.join(str(part) for part in one['loc'])}: {one['msg']}" for one in faults)
        said = PageError("The request was not understood.", why=why, hint="Correct what is named here.")
        return told_error(desk, request, said, status=422)

    return handler


def _too_large(desk: Desk) -> Handler:
    async def handler(request: Request, error: Exception) -> Response:
        most_mb = getattr(error, "most_bytes", desk.settings.most_body_bytes) / 1e6
        said = PageError(
            "That is too much at once.", why=f"at most {most_mb:g} MB are taken", hint="Add fewer files at a time."
        )
        return told_error(desk, request, said, status=413)

    return handler


def _ours(desk: Desk) -> Handler:
    async def handler(request: Request, error: Exception) -> Response:
        said = InternalFaultError(
            "Something is wrong in the workbench itself.",
            why=f"{type(error).__name__}; the terminal in which the workbench was started says more",
            hint="What was kept is safe. Try again; if it stays, report it with what you did.",
        )
        return told_error(desk, request, said, status=500)

    return handler
