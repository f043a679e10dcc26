"""A route made of a task: it takes the task's words, calls it, and answers what its command prints with `--json`."""

import inspect
from collections.abc import Callable, Mapping
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Annotated, Any

from fastapi import APIRouter, Depends, HTTPException, Request, Response
from fastapi.security import APIKeyHeader
from pydantic import BaseModel

from wattproof.web import tokens
from wattproof.web.api.asking import Asked
from wattproof.web.api.faults import FaultAnswer
from wattproof.web.api.made import JobShown, Made, shown
from wattproof.web.desk import Desk
from wattproof.web.forms import TheDesk, may_change
from wattproof.web.jobs import Tell

FAULTS: dict[int | str, dict[str, Any]] = {"4XX": {"model": FaultAnswer, "description": "What did not work, and why."}}
_token = APIKeyHeader(
    name=tokens.HEADER, auto_error=False, description="The text of the file .running/token in the archive's folder."
)


def may(request: Request, said: Annotated[str | None, Depends(_token)]) -> None:
    """Let only those change anything who bring a token: a script the archive's, a page of ours its browser's.

    Raises
    ------
    HTTPException
        403: neither was brought.
    """
    if not may_change(request, said or ""):
        raise HTTPException(403, f"A change needs the header {tokens.HEADER} with the token for scripts.")


def add(router: APIRouter, asked: Asked, *, carry: Callable[..., Any]) -> None:
    """Add a task's route.

    Parameters
    ----------
    router : APIRouter
    asked : Asked
    carry : callable
        Takes the task's words: the task itself, or what begins it in another way.
    """
    endpoint: Any = _beginning(asked, carry) if asked.long else _answering(asked, carry)
    endpoint.__signature__ = inspect.Signature([*_own_parameters(endpoint), *asked.parameters()])
    name = asked.task.__name__
    router.add_api_route(
        asked.path,
        endpoint,
        methods=[asked.method],
        operation_id=asked.called or name,
        name=f"{asked.method} {name}",
        summary=(inspect.getdoc(asked.task) or "").split("\n", 1)[0],
        description="Carried out as a job." if asked.long else " ",
        status_code=202 if asked.long else 200,
        response_model=JobShown if asked.long else asked.answers,
        dependencies=[Depends(may)] if asked.method == "POST" else [],
        responses={**FAULTS, **asked.also},
    )


def json_text(found: Any) -> str:  # noqa: ANN401
    """Write an answer as the command does with `--json`."""
    if isinstance(found, str):
        return found
    if hasattr(found, "to_json"):
        return str(found.to_json())
    answer: BaseModel = found
    return answer.model_dump_json(indent=2)


def _own_parameters(endpoint: Callable[..., Any]) -> list[inspect.Parameter]:
    """Give what the route takes for itself, not for the task."""
    found = inspect.signature(endpoint).parameters.values()
    return [one.replace(kind=one.KEYWORD_ONLY) for one in found if one.kind is not one.VAR_KEYWORD]


def _words(asked: Asked, desk: Desk, said: Mapping[str, Any], given: Path, made: Path) -> dict[str, Any]:
    words = asked.words(said, given, made)
    takes_archive = "archive" in inspect.signature(asked.task).parameters
    return words | ({"archive": desk.settings.archive} if takes_archive else {})


def _answering(asked: Asked, carry: Callable[..., Any]) -> Callable[..., Response]:
    """Make the route of a task that answers at once."""

    def endpoint(desk: TheDesk, **said: Any) -> Response:  # noqa: ANN401
        with TemporaryDirectory(prefix="wattproof-", ignore_cleanup_errors=True) as folder:
            found = carry(**_words(asked, desk, said, Path(folder, "given"), Path(folder, "made")))
        text = json_text(found)
        kind = "application/json" if text.startswith("{") else "text/plain"  # the list of the schemas' names
        return Response(text + "\n", media_type=kind)

    return endpoint


def _beginning(asked: Asked, carry: Callable[..., Any]) -> Callable[..., JobShown]:
    """Make the route of a task that takes long: it answers with the job to ask after."""
    tells = "tell" in inspect.signature(asked.task).parameters

    def endpoint(desk: TheDesk, request: Request, response: Response, **said: Any) -> JobShown:  # noqa: ANN401
        made = Made()

        def work(tell: Tell) -> str:
            made.answer = json_text(carry(**words, **({"tell": tell} if tells else {})))
            return "/api/jobs"

        try:
            made.folder.mkdir()
            words = _words(asked, desk, said, made.given, made.folder)
            job = desk.jobs.begin(request.state.browser, asked.path.removeprefix("/api/"), work, holding=made)
        except BaseException:
            made.close()
            raise
        response.headers["location"] = f"/api/jobs/{job.number}"
        return shown(job)

    return endpoint
