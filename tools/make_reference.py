"""Write docs/reference/cli.md from the commands themselves: their signatures, their docstrings, their option groups.

Run it after a change to a command: .venv/bin/python tools/make_reference.py
"""

import inspect
import re
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from datetime import date
from pathlib import Path
from types import UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin, get_type_hints

from wattproof.cli import COMMANDS, commands

PAGE = Path(__file__).parents[1] / "docs" / "reference" / "cli.md"
KINDS = {Path: "PATH", str: "TEXT", float: "NUMBER", int: "NUMBER", date: "YYYY-MM-DD"}
HEAD = """# Commands

Every command answers on standard output, says what is doubtful on standard error, and ends with status 0 when it is
done, 2 for [something you can mend](../errors.md), 1 for a fault of ours and 130 when you stopped it. With `--json` it
prints one object; `wattproof schema` tells how that object is built.

An option that may be repeated is marked so: `--thd-percent 1 --thd-percent 10`. Files stand before the options or after
them. Put quotation marks round anything with a space in it.

<!-- Made by tools/make_reference.py from the commands themselves: change those, not this page. -->
"""


def main() -> None:
    """Write the page."""
    PAGE.parent.mkdir(parents=True, exist_ok=True)
    PAGE.write_text(page(), encoding="utf-8")


def page() -> str:
    """Give the whole page."""
    return HEAD + "".join(_section(words) for words in COMMANDS)


def _section(words: tuple[str, ...]) -> str:
    command = getattr(commands, "_".join(words))
    first, told = _docstring(command)
    places, options = [], []
    for name, kind, default, text in _parameters(command, told):
        if default is inspect.Parameter.empty:
            places.append((f"{name.upper()}{' ...' if _many(kind) else ''}", text))
        elif name in _positions(command):
            places.append((f"[{name.upper()}]", text))
        else:
            options.append(
                (
                    _option(name, kind),
                    f"{text.rstrip('.')}.{' May be repeated.' if _many(kind) else ''}{_also(default)}",
                )
            )
    usage = " ".join(["wattproof", *words, *[place for place, _ in places], *(["[OPTIONS]"] if options else [])])
    lines = [f"\n## {' '.join(words)}\n", f"{first}\n", f"```text\n{usage}\n```\n"]
    for title, rows in (("given", places), ("option", options)):
        if rows:
            lines += [
                f"| {title} | meaning |\n|---|---|",
                *[f"| `{left}` | {_cell(text)} |" for left, text in rows],
                "",
            ]
    return "\n".join(lines)


def _docstring(thing: object) -> tuple[str, dict[str, str]]:
    """Give the first paragraph and what is said of each parameter or attribute."""
    text = inspect.getdoc(thing) or ""
    first = " ".join(text.split("\n\n")[0].split())
    told: dict[str, str] = {}
    name = ""
    for line in text.splitlines():
        if found := re.fullmatch(r"(\w+)( : .*)?", line):
            name = found[1]
            told[name] = ""
        elif line.startswith("    ") and name:
            told[name] = f"{told[name]} {line.strip()}".strip()
    return first, told


def _parameters(command: Any, told: dict[str, str]) -> Iterator[tuple[str, Any, Any, str]]:
    hints = get_type_hints(command)
    for parameter in inspect.signature(command).parameters.values():
        kind = _bare(hints[parameter.name])
        if is_dataclass(kind):
            _, said = _docstring(kind)
            inner = get_type_hints(kind)
            yield from (
                (field.name, _bare(inner[field.name]), field.default, said[field.name]) for field in fields(kind)
            )
        else:
            yield parameter.name, kind, parameter.default, told[parameter.name]


def _bare(kind: Any) -> Any:
    if get_origin(kind) is Annotated:
        kind = get_args(kind)[0]
    parts = [part for part in get_args(kind) if part is not type(None)]
    return parts[0] if get_origin(kind) in {Union, UnionType} and len(parts) == 1 else kind


def _positions(command: Any) -> set[str]:
    return {p.name for p in inspect.signature(command).parameters.values() if p.kind is p.POSITIONAL_ONLY}


def _many(kind: Any) -> bool:
    return get_origin(kind) in {tuple, list}


def _option(name: str, kind: Any) -> str:
    inner = get_args(kind)[0] if _many(kind) else kind
    if inner is bool:
        return f"--{name.replace('_', '-')}"
    value = "WORD" if get_origin(inner) is Literal else KINDS.get(inner, "TEXT")
    return f"--{name.replace('_', '-')} {value}"


def _also(default: Any) -> str:
    """Tell the default where the sentence itself cannot: a plain number or word."""
    shown = isinstance(default, int | float | str) and not isinstance(default, bool) and default not in ("", 0)
    return f" Default: `{default}`." if shown else ""


def _cell(text: str) -> str:
    return text.replace("|", "\\|").replace("<", "&lt;")


if __name__ == "__main__":
    main()
