"""JSON documents of a session: typed when read, the same bytes for the same content when written."""

import json
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
from pydantic import BaseModel, JsonValue, ValidationError

from wattproof.archive.disk import explained
from wattproof.archive.names import storable
from wattproof.archive.upgrades import upgraded
from wattproof.errors import ArchiveError

Model = TypeVar("Model", bound=BaseModel)

_RESTORE = "Restore this file from a backup; the originals under captures/ are not affected."


def encode(model: BaseModel, *, leave_out: dict[str, Any] | None = None) -> bytes:
    """Write a document as UTF-8 JSON that a person can read; equal content gives equal bytes.

    Parameters
    ----------
    model : pydantic model
        The document.
    leave_out : what pydantic's ``exclude`` takes
        Parts that are kept elsewhere.

    Raises
    ------
    ArchiveError
        It holds a number that is not finite: JSON has none, and a figure that is none is not stored.
    """
    try:
        plain = model.model_dump(mode="json", by_alias=True, exclude=leave_out)
        return (json.dumps(plain, indent=1, ensure_ascii=False, allow_nan=False) + "\n").encode("utf-8")
    except ValueError as error:
        raise ArchiveError(
            f"Cannot store this {type(model).__name__}.",
            why=f"It holds a number that is not finite, or text that is no Unicode ({error}).",
            hint="Leave the figure out, or mend the value in the bench or amplifier file, and repeat.",
        ) from error


def plain(value: object) -> JsonValue:
    """Make what a running program says fit for JSON, whatever it holds: nothing may keep a trip from being stored.

    Numbers of numpy become plain ones, numbers that are not finite their names, anything unknown its text.

    Examples
    --------
    >>> plain({"value": float("inf"), 3: (1, None)})
    {'value': 'inf', '3': [1, None]}
    """
    if isinstance(value, Mapping):
        return {storable(str(key)): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    if isinstance(value, np.generic):
        return plain(value.item())
    if value is None or isinstance(value, int) or (isinstance(value, float) and math.isfinite(value)):
        return value
    return storable(str(value))


def read_document(kind: str, path: Path, model: type[Model]) -> Model:
    """Read a document, bring it to today's schema and check it.

    Raises
    ------
    ArchiveError
        It is missing, may not be read, is damaged, or was written by a newer version.
    """
    data = _bytes(kind, path)
    try:
        document = json.loads(data.decode("utf-8"), parse_constant=_no_number)
    except UnicodeDecodeError as error:
        raise _damaged(path, f"Byte {error.start + 1} is no UTF-8.") from error
    except json.JSONDecodeError as error:
        raise _damaged(path, f"Line {error.lineno}, column {error.colno}: {error.msg}.") from error
    except (RecursionError, ValueError) as error:
        raise _damaged(path, "It is nested too deeply, or holds a number that is none or too long to read.") from error
    if not isinstance(document, dict):
        raise _damaged(path, "It holds no JSON object.")
    try:
        return model.model_validate(upgraded(kind, document, path=path))
    except ValidationError as error:
        raise _damaged(path, _first_fault(error)) from error


def _bytes(kind: str, path: Path) -> bytes:
    with explained(f"read the {kind} file", path):
        if path.exists():
            return path.read_bytes()
    raise ArchiveError(
        f"{path} is missing.",
        why=f"The {kind} cannot be read without it.",
        hint="Restore this file from a backup, or move its folder out of the archive.",
    )


def _no_number(text: str) -> float:
    """Refuse NaN and Infinity: JSON has no such numbers, and we never write them."""
    raise ValueError(text)


def _damaged(path: Path, why: str) -> ArchiveError:
    return ArchiveError(f"{path} is damaged.", why=why, hint=_RESTORE)


def _first_fault(error: ValidationError) -> str:
    first = error.errors()[0]
    place = ".".join(str(part) for part in first["loc"]) or "the document"
    more = f" ({error.error_count() - 1} more such faults)" if error.error_count() > 1 else ""
    return f"{place}: {first['msg']}{more}."
