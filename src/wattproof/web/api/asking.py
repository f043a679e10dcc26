"""A task's parameters as those of a route: the same names, defaults and words, files as uploads."""

import inspect
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields, is_dataclass
from functools import reduce
from operator import or_
from pathlib import Path
from types import MappingProxyType, NoneType, UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin, get_type_hints

from fastapi import File, Query, UploadFile
from pydantic import Field, FiniteFloat, StringConstraints

from wattproof.web.api.uploads import keep_uploads

Text = Annotated[str, StringConstraints(max_length=4000, pattern=r"^[^\x00-\x08\x0b-\x1f\x7f]*$")]
"""Words as a person types them: no name and no note needs a control character."""

Whole = Annotated[int, Field(ge=-(10**9), le=10**9)]
_FIT = {str: Text, int: Whole, float: FiniteFloat}

NOT_SENT: Mapping[str, str] = MappingProxyType(
    {
        "archive": "the workbench serves one archive",
        "tell": "a face hears it: a job's lines",
        "ask": "a face asks for a passphrase, unseen",
        "operator": "a face asks at the bench; over the network nobody is asked",
        "button": "a face's way to stop: POST /api/run/stop",
        "window": "a run begun here always has one",
        "html": "where a file goes is not the sender's to say: the report is a task of its own",
        "csv": "as html: export gives the tables",
        "out": "where a file goes is not the sender's to say: it hangs on the job",
        "frames": "as out: thousands of files",
        "chapters": "as out: it always comes with the clip",
        "sign": "a secret key does not travel; sign on the command line",
    }
)
"""Parameters of tasks that no request brings, and why."""


@dataclass(frozen=True, kw_only=True)
class Asked:
    """How a task is asked for.

    Attributes
    ----------
    task : callable
    method : "GET" or "POST"
        POST of all that changes or takes files.
    long : bool
        Carried out as a job.
    writes : mapping of str to str
        Parameters that say where the task writes, and the name of the file or folder it gets; "." is the job's folder.
    left_out : frozenset of str
        Parameters of this route that only the other route of the same task takes.
    fits : mapping of str to type
        Parameters that take less here than on the command line, where they may also name a file.
    answer : type or None
        What is answered, where it is not what the task gives back.
    called : str
        Its name in the OpenAPI document, where another route has the task's.
    also : mapping of int to dict
        What else it answers, for the OpenAPI document.
    """

    task: Callable[..., Any]
    method: Literal["GET", "POST"]
    long: bool = False
    writes: Mapping[str, str] = field(default_factory=dict)
    left_out: frozenset[str] = frozenset()
    fits: Mapping[str, Any] = field(default_factory=dict)
    answer: Any = None
    called: str = ""
    also: Mapping[int | str, dict[str, Any]] = field(default_factory=dict)

    @property
    def path(self) -> str:
        """Its address: the command's words."""
        return f"/api/{self.task.__name__.replace('_', '/')}"

    @property
    def answers(self) -> Any:  # noqa: ANN401  (a type, or what stands for one)
        """What it answers."""
        return self.answer or get_type_hints(self.task)["return"]

    def parameters(self) -> list[inspect.Parameter]:
        """Give the route's parameters."""
        unsent = NOT_SENT.keys() | self.left_out
        return [_parameter(one, self.fits) for one in _taken_by(self.task) if one.name not in unsent]

    def words(self, said: Mapping[str, Any], given: Path, made: Path) -> dict[str, Any]:
        """Give what the task is called with.

        Parameters
        ----------
        said : mapping of str to value
            What the request brought.
        given : Path
            Folder into which its files are written.
        made : Path
            Folder into which the task writes its own.

        Raises
        ------
        WattproofError
            A group of options does not go together.
        """
        words: dict[str, Any] = {}
        kinds: dict[str, Any] = {name: kind for name, kind in _hints(self.task).items() if is_dataclass(kind)}
        groups: dict[str, dict[str, Any]] = {name: {} for name in kinds}
        for one in _taken_by(self.task):
            if one.name in said and one.name not in NOT_SENT:
                value = _taken(said[one.name], given / one.name)
            elif one.name in self.writes:
                value = made / self.writes[one.name].replace("{format}", str(said.get("format") or "mov"))
            else:
                continue
            (groups[one.group] if one.group else words)[one.name] = value
        return words | {name: kinds[name](**values) for name, values in groups.items()}


@dataclass(frozen=True, kw_only=True)
class _Taken:
    """One parameter of a task, or of a group of its options."""

    name: str
    kind: Any
    default: Any
    group: str
    told: str


def _taken_by(task: Callable[..., Any]) -> Iterator[_Taken]:
    """Walk a task's parameters with the fields of its option groups in their place."""
    told, hints = _told(task), _hints(task)
    for name, parameter in inspect.signature(task).parameters.items():
        kind: Any = hints[name]
        if is_dataclass(kind):
            inner, words = get_type_hints(kind), _told(kind)
            for one in fields(kind):
                yield _Taken(
                    name=one.name, kind=_bare(inner[one.name]), default=one.default, group=name,
                    told=words.get(one.name, ""),
                )  # fmt: skip
        else:
            yield _Taken(name=name, kind=kind, default=parameter.default, group="", told=told.get(name, ""))


def _hints(task: Callable[..., Any]) -> dict[str, Any]:
    return {name: _bare(kind) for name, kind in get_type_hints(task).items()}


def _bare(kind: Any) -> Any:  # noqa: ANN401
    """Take None out of a choice of types."""
    if get_origin(kind) not in {Union, UnionType}:
        return kind
    parts = [part for part in get_args(kind) if part is not NoneType]
    return parts[0] if len(parts) == 1 else reduce(or_, parts)


def _parameter(one: _Taken, fits: Mapping[str, Any]) -> inspect.Parameter:
    needed = one.default is inspect.Parameter.empty
    several = get_origin(one.kind) in {tuple, Sequence}
    inner = get_args(one.kind)[0] if several else one.kind
    kind: Any = UploadFile if inner is Path else fits.get(one.name, _FIT.get(inner, inner))
    kind = list[kind] if several else kind
    default = list(one.default) if several and not needed else one.default
    mark = (File if inner is Path else Query)(description=one.told)
    return inspect.Parameter(
        one.name,
        inspect.Parameter.KEYWORD_ONLY,
        annotation=Annotated[kind if default is not None or needed else kind | None, mark],
        default=inspect.Parameter.empty if needed else default,
    )


def _taken(value: Any, folder: Path) -> Any:  # noqa: ANN401
    """Turn what a request brought into what a task takes."""
    if isinstance(value, list):
        uploads = bool(value) and all(hasattr(one, "file") for one in value)
        return keep_uploads(folder, value) if uploads else tuple(value)
    return keep_uploads(folder, [value])[0] if hasattr(value, "file") else value


_ENTRY = re.compile(r"(\w+(?:, \w+)*) : ")


def _told(thing: object) -> dict[str, str]:
    """Read what a docstring says of each parameter."""
    found: dict[str, str] = {}
    names: list[str] = []
    text = inspect.getdoc(thing) or ""
    for line in re.split(r"\n(?:Parameters|Attributes)\n-+\n", text)[-1].split("\n\n")[0].splitlines():
        entry = _ENTRY.match(line)
        if entry:
            names = entry[1].split(", ")
        for name in names if line.startswith(" ") else ():
            found[name] = f"{found.get(name, '')} {line.strip()}".strip()
    return found
