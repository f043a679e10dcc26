"""Old documents made readable, one schema number at a time.

A session's files are evidence, so an upgrade never touches them: it changes the document in memory each time an old
file is read. A step is a pure function on plain JSON, uses none of today's models, and is never edited once released.
"""

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from wattproof.archive.model import SCHEMA
from wattproof.errors import ArchiveError

Step = Callable[[str, dict[str, Any]], dict[str, Any]]
"""Takes the kind of document ("session", "capture", "figures", "views", "history", ...) and it; gives the next one."""


def upgrade_1_to_2(kind: str, document: dict[str, Any]) -> dict[str, Any]:  # noqa: ARG001  (every step has this form)
    """Let captures be void and be recorded live: all that schema 1 says, schema 2 says in the same words."""
    return document


STEPS: Mapping[int, Step] = {1: upgrade_1_to_2}
"""The step that leads on from each schema number."""


def upgraded(
    kind: str,
    document: dict[str, Any],
    *,
    path: Path,
    steps: Mapping[int, Step] = STEPS,
    newest: int = SCHEMA,
) -> dict[str, Any]:
    """Bring a document to the newest schema, step by step.

    Parameters
    ----------
    kind : str
        What the document is: "session", "capture", "figures", "views", "history", "take", "trip", ...
    document : dict
        The JSON object as it was read; it is not changed.
    path : Path
        Where it was read, for the message.
    steps : mapping of int to step
        What leads on from each number.
    newest : int >= 1
        The number to reach.

    Raises
    ------
    ArchiveError
        The number is missing, is no number, or is newer than this version knows.
    """
    schema = document.get("schema")
    if type(schema) is not int or schema < 1:
        raise ArchiveError(
            f"{path} is damaged.",
            why=f"Its schema number is {schema!r}; a whole number from 1 to {newest} was expected.",
            hint="Restore this file from a backup; the originals under captures/ are not affected.",
        )
    if schema > newest:
        raise ArchiveError(
            f"{path} was written by a newer Wattproof.",
            why=f"Its schema number is {schema}; this version knows numbers up to {newest}.",
            hint="Install a newer Wattproof and open it again; nothing was changed.",
        )
    for number in range(schema, newest):
        document = {**steps[number](kind, dict(document)), "schema": number + 1}
    return document
