"""Jobs for scripts: how far they are, what came of them, and a way to end them."""

from typing import Annotated

from fastapi import APIRouter, Depends, HTTPException, Path, Request
from starlette.responses import FileResponse

from wattproof.web.api.carrying import FAULTS, may
from wattproof.web.api.made import JobShown, JobsListed, Made, shown
from wattproof.web.forms import TheDesk
from wattproof.web.jobs import Job

router = APIRouter(prefix="/api/jobs", responses=FAULTS)

Number = Annotated[int, Path(ge=1, le=10**9)]


def _job(request: Request, desk: TheDesk, number: Number) -> Job:
    """Find a job of whoever asks; another's is none.

    Raises
    ------
    HTTPException
        404: there is none.
    """
    job = desk.jobs.find(request.state.browser, number)
    if job is None:
        raise HTTPException(404, "There is no such job of yours; it may have been long ago.")
    return job


TheJob = Annotated[Job, Depends(_job)]


@router.get("", operation_id="jobs")
def jobs(request: Request, desk: TheDesk) -> JobsListed:
    """List the jobs that were asked for with this cookie or token."""
    return JobsListed(jobs=tuple(shown(job) for job in desk.jobs.all_of(request.state.browser)))


@router.get("/{number}", operation_id="job")
def job(found: TheJob) -> JobShown:
    """Show how far a job is; once it is done, its answer and its files."""
    return shown(found)


@router.post("/{number}/cancel", operation_id="job_cancel", dependencies=[Depends(may)])
def cancel(found: TheJob, desk: TheDesk) -> JobShown:
    """End a job at its next step."""
    desk.jobs.cancel(found)
    return shown(found)


@router.get(
    "/{number}/files/{index}",
    operation_id="job_file",
    response_class=FileResponse,
    responses={200: {"content": {"application/octet-stream": {}}, "description": "The file's bytes."}},
)
def file(found: TheJob, index: Number) -> FileResponse:
    """Give a file that a job has made."""
    files = found.holding.files() if isinstance(found.holding, Made) and found.state == "done" else []
    if index > len(files):
        raise HTTPException(404, "The job has no such file.")
    path = files[index - 1]
    return FileResponse(path, media_type="application/octet-stream", filename=path.name)
