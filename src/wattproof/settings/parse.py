"""A TOML text to a checked model, or one error with every fault, its line and its cure."""

from collections.abc import Callable, Iterable, Mapping
from typing import Any, NamedTuple, TypeVar

from pydantic import BaseModel, ValidationError

from wattproof.settings.explain import explain, meant
from wattproof.settings.faults import Fault, settings_error
from wattproof.settings.syntax import read_toml
from wattproof.settings.toml_lines import Path, key_lines

Model = TypeVar("Model", bound=BaseModel)


class Clash(NamedTuple):
    """Two parts of a file that contradict each other: where the later one is, what is wrong, what would be right."""

    path: Path
    what: str
    cure: str


def _none(_data: Mapping[str, Any]) -> Iterable[Clash]:
    return ()


def parse_settings(
    text: str, model: type[Model], *, file: str, clashes: Callable[[Mapping[str, Any]], Iterable[Clash]] = _none
) -> Model:
    """Read a TOML text into a model.

    Parameters
    ----------
    text : str
        Content of the file; a byte-order mark and Windows line ends do no harm.
    model : type of pydantic model
        Its fields are the keys that may be written.
    file : str
        Name of the file, for messages.
    clashes : callable
        Looks through the plain data for parts that contradict each other. It may meet any data, wrong ones too.

    Raises
    ------
    SettingsError
        Naming every fault with its line, what is wrong and what would be right.
    """
    data, read, faults = read_toml(text)
    if data is None:
        raise settings_error(file, faults)
    lines = key_lines(read)
    faults += [Fault(line=line_of(lines, clash.path), what=clash.what, cure=clash.cure) for clash in clashes(data)]
    try:
        made = model.model_validate(data)
    except ValidationError as error:
        found = error.errors(include_url=False)
        misspelt = {meant(one, model=model) for one in found}
        told = [
            explain(one, model=model, data=data)
            for one in found
            if not (one["type"] == "missing" and one["loc"] in misspelt)  # one slip is one fault
        ]
        faults += [Fault(line=line_of(lines, path), what=what, cure=cure) for path, what, cure in told]
        raise settings_error(file, faults) from error
    if faults:
        raise settings_error(file, faults)
    return made


def line_of(lines: Mapping[Path, int], path: Path) -> int:
    """Give the line of a path, or of the nearest part above it that is written; 0 for the file as a whole."""
    while path and path not in lines:
        path = path[:-1]
    return lines.get(path, 0)
