"""What pydantic found, said as one person would say it to another, with the cure."""

import json
from collections.abc import Callable, Mapping
from datetime import date, datetime, time
from typing import Any, NamedTuple, get_args

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from wattproof.settings.faults import nearest
from wattproof.settings.toml_lines import Path

_BOUNDS = {
    "greater_than": ("gt", "greater than"),
    "greater_than_equal": ("ge", "at least"),
    "less_than": ("lt", "less than"),
    "less_than_equal": ("le", "at most"),
}


class _Case(NamedTuple):
    """One complaint of pydantic with all that is needed to explain it."""

    error: Mapping[str, Any]
    key: str
    field: FieldInfo | None
    parent: type[BaseModel] | None
    root: type[BaseModel]
    path: Path
    data: Mapping[str, Any]

    @property
    def value(self) -> object:
        return self.error.get("input")

    @property
    def context(self) -> Mapping[str, Any]:
        found: Mapping[str, Any] = self.error.get("ctx", {})
        return found

    @property
    def example(self) -> str:
        examples = self.field.examples if self.field is not None else None
        return f"{self.key} = {toml_value(examples[0])}" if examples else f"{self.key} = ..."


def explain(error: Mapping[str, Any], *, model: type[BaseModel], data: Mapping[str, Any]) -> tuple[Path, str, str]:
    """Turn one entry of ``ValidationError.errors()`` into its path, what is wrong, and what would be right."""
    path: Path = tuple(error["loc"])
    names = [step for step in path if isinstance(step, str)]
    key = names[-1] if names else ""
    parent = _model_at(model, path[: path.index(key)] if names.count(key) == 1 else path[:-1]) if names else None
    case = _Case(error, key, _field(parent, key), parent, model, path, data)
    teller = _TELLERS.get(str(error["type"]), _anything)
    what, cure = teller(case)
    return path, what, cure


def meant(error: Mapping[str, Any], *, model: type[BaseModel]) -> Path | None:
    """Give the path of the key that an unknown one was most likely meant to be; None for any other complaint."""
    path: Path = tuple(error["loc"])
    parent = _model_at(model, path[:-1])
    if error["type"] != "extra_forbidden" or parent is None:
        return None
    close = nearest(str(path[-1]), table_keys(parent))
    return None if close is None else (*path[:-1], close)


def toml_value(value: object) -> str:
    """Write a plain value as TOML does."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(toml_value, value)) + "]"
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{key} = {toml_value(item)}" for key, item in value.items()) + " }"
    return repr(value)


def table_keys(model: type[BaseModel]) -> list[str]:
    """Names of the keys that may be written in the table a model stands for."""
    return [field.alias or name for name, field in model.model_fields.items()]


def _seen(value: object) -> str:
    """Name a value as the person sees it in the file, in a few words."""
    if isinstance(value, Mapping):
        return "a table"
    if isinstance(value, list | tuple):
        return f"a list of {len(value)}"
    if isinstance(value, datetime):
        return f"{value.isoformat()}, a date with a time of day,"
    written = toml_value(value)
    return written if len(written) <= 40 else written[:37] + "..."


def _table_name(path: Path, root: type[BaseModel]) -> str:
    names = [step for step in path if isinstance(step, str)]
    if not names:
        return "the top of the file"
    is_list = any(isinstance(step, int) for step in path) or _is_list(_field(root, names[0]))
    return f"[[{'.'.join(names)}]]" if is_list else f"[{'.'.join(names)}]"


def _field(model: type[BaseModel] | None, key: str) -> FieldInfo | None:
    if model is None:
        return None
    return next((field for name, field in model.model_fields.items() if key in {name, field.alias}), None)


def _model_in(annotation: object) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((found for part in get_args(annotation) if (found := _model_in(part))), None)


def _is_list(field: FieldInfo | None) -> bool:
    return field is not None and Ellipsis in get_args(field.annotation) and _model_in(field.annotation) is not None


def _model_at(model: type[BaseModel], path: Path) -> type[BaseModel] | None:
    here: type[BaseModel] | None = model
    for step in path:
        if isinstance(step, str):
            field = _field(here, step)
            here = _model_in(field.annotation) if field is not None else None
    return here


def _unknown(case: _Case) -> tuple[str, str]:
    known = table_keys(case.parent) if case.parent is not None else []
    table = _table_name(case.path[:-1], case.root)
    what = f"{case.key} is no key of {table}"
    homes = [home for home in _homes(case.root, case.key) if home != table]
    close = nearest(case.key, known)
    if homes:
        place = f"in {homes[0]}"
        if homes[0] == "the top of the file":
            place = "at the top of the file, above the first line in brackets"
        return what, f"write it {place}"
    if close is not None:
        return what, f"write {close}{_in_unit(case, close)}"
    return what, f"the keys are {', '.join(known)}"


def _in_unit(case: _Case, close: str) -> str:
    """Remind of the unit where the key that was meant differs in its unit: a value in mV is no value in V."""
    field = _field(case.parent, close)
    same_stem = close.rpartition("_")[0] and case.key.rpartition("_")[0] == close.rpartition("_")[0]
    if not same_stem or field is None:
        return ""
    note = f" ({field.description})" if field.description else ""
    return f", and the value in the unit it names{note}"


def _homes(root: type[BaseModel], key: str) -> list[str]:
    homes = ["the top of the file"] if key in table_keys(root) else []
    for name, field in root.model_fields.items():
        inner = _model_in(field.annotation)
        if inner is not None and key in table_keys(inner):
            homes.append(f"[[{name}]]" if _is_list(field) else f"[{name}]")
    return homes


def _missing(case: _Case) -> tuple[str, str]:
    if case.path and isinstance(case.path[-1], int):
        return f"{case.key} holds too few values", f"write {case.example}"
    return f"{case.key} is missing from {_table_name(case.path[:-1], case.root)}", f"add {case.example}"


def _wrong_type(expected: str) -> Callable[[_Case], tuple[str, str]]:
    def tell(case: _Case) -> tuple[str, str]:
        text = " (text)" if isinstance(case.value, str) else ""
        return f"{case.key} is {_seen(case.value)}{text} where {expected} belongs", f"write {case.example}"

    return tell


def _number(case: _Case) -> tuple[str, str]:
    what, cure = _wrong_type("a number")(case)
    if isinstance(case.value, str):
        bare = case.value.strip().replace(",", ".")
        try:
            float(bare)
        except ValueError:
            return what, cure
        return what, f"write {case.key} = {bare}, without quotation marks"
    return what, cure


def _text(case: _Case) -> tuple[str, str]:
    what, cure = _wrong_type("text in quotation marks")(case)
    is_plain = not isinstance(case.value, list | tuple | Mapping)
    return what, f"write {case.key} = {toml_value(toml_value(case.value))}" if is_plain else cure


def _bound(case: _Case) -> tuple[str, str]:
    name, words = _BOUNDS[str(case.error["type"])]
    limit = case.context[name]
    note = f" ({case.field.description})" if case.field is not None and case.field.description else ""
    return f"{case.key} is {_seen(case.value)}", f"it must be {words} {limit:g}{note}"


def _choice(case: _Case) -> tuple[str, str]:
    choices = [word.strip(" '\"") for word in str(case.context.get("expected", "")).replace(" or ", ", ").split(",")]
    close = nearest(case.value, choices) if isinstance(case.value, str) else None
    listed = f"the choices are {', '.join(choices)}"
    return f"{case.key} is {_seen(case.value)}", f"write {toml_value(close)}; {listed}" if close else listed


def _list_length(case: _Case) -> tuple[str, str]:
    value = case.value
    what = f"{case.key} is {_seen(value)}"
    wanted = case.context.get("max_length") or case.context.get("min_length")
    if isinstance(value, list) and wanted and len(value) == 2 * int(wanted):
        return what, f"a decimal comma splits a number in two: write points, as in {case.example}"
    return what, f"write {case.example}"


def _not_a_table(case: _Case) -> tuple[str, str]:
    what = f"{case.key} is {_seen(case.value)} where a table belongs"
    return what, f"start it with a line {_table_name(case.path, case.root)}"


def _not_a_list(case: _Case) -> tuple[str, str]:
    if _is_list(case.field):
        return (
            f"{case.key} is {_seen(case.value)} where several tables may stand",
            f"write [[{case.key}]] with two brackets",
        )
    return f"{case.key} is {_seen(case.value)} where a list belongs", f"write {case.example}"


def _not_finite(case: _Case) -> tuple[str, str]:
    return f"{case.key} is {_seen(case.value)}", "write a finite number, or delete the line where it is not known"


def _told(case: _Case) -> tuple[str, str]:
    what, cure = str(case.context["what"]), str(case.context["cure"])
    return f"{case.key}: {what}" if case.path and case.path[-1] == case.key else what, cure


def _empty(case: _Case) -> tuple[str, str]:
    return f"{case.key} is empty", f"write {case.example}"


def _anything(case: _Case) -> tuple[str, str]:
    return f"{case.key} is {_seen(case.value)}: {case.error['msg'].lower()}", f"write {case.example}"


_TELLERS: dict[str, Callable[[_Case], tuple[str, str]]] = {
    "extra_forbidden": _unknown,
    "missing": _missing,
    "float_type": _number,
    "int_type": _wrong_type("a whole number"),
    "int_from_float": _wrong_type("a whole number"),
    "string_type": _text,
    "bool_type": _wrong_type("true or false"),
    "bool_parsing": _wrong_type("true or false"),
    "finite_number": _not_finite,
    "literal_error": _choice,
    "tuple_type": _not_a_list,
    "list_type": _not_a_list,
    "too_long": _list_length,
    "too_short": _list_length,
    "model_type": _not_a_table,
    "model_attributes_type": _not_a_table,
    "dict_type": _not_a_table,
    "string_too_short": _empty,
    "wattproof": _told,
    **dict.fromkeys(_BOUNDS, _bound),
}
