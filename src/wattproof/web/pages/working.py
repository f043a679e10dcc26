"""Work that takes long: how far it is, what came of it, and a way to end it."""

from fastapi import APIRouter, HTTPException, Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from wattproof.web.forms import Form, TheDesk
from wattproof.web.jobs import Job

router = APIRouter(include_in_schema=False)


def _job(request: Request, desk: TheDesk, number: int) -> Job:
    job = desk.jobs.find(request.state.browser, number)
    if job is None:
        raise HTTPException(404, "There is no such work of this browser; it may have been long ago.")
    return job


@router.get("/jobs/{number}")
def work(request: Request, desk: TheDesk, number: int) -> Response:
    """Show how far a piece of work is; once it is done, its result."""
    job = _job(request, desk, number)
    if job.state == "done":
        return RedirectResponse(job.address, 303)
    return desk.page(request, "work.html.j2", title=job.title, job=job, refresh=not job.over)


@router.get("/jobs/{number}/state")
def state(request: Request, desk: TheDesk, number: int) -> Response:
    """Give the same to the page's script."""
    job = _job(request, desk, number)
    return JSONResponse({"state": job.state, "lines": job.lines[-8:], "seconds": job.seconds, "address": job.address})


@router.post("/jobs/{number}/cancel")
async def cancel(request: Request, desk: TheDesk, number: int, form: Form) -> Response:  # noqa: ARG001  (it is checked)
    """End it."""
    desk.jobs.cancel(_job(request, desk, number))
    return RedirectResponse(f"/jobs/{number}", 303)
