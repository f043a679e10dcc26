"""What the parser could not make of the words, said by what is wrong with which of them and what would be right."""

import re
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, get_args

from wattproof.errors import UsageError

if TYPE_CHECKING:
    from cyclopts import ArgumentCollection, CycloptsError
    from cyclopts.argument import Argument
    from cyclopts.exceptions import (
        ArgumentOrderError,
        CoercionError,
        MissingArgumentError,
        RepeatArgumentError,
        UnknownCommandError,
        UnknownOptionError,
        UnusedCliTokensError,
    )

WANTED = {
    float: ("a number, with a point before its decimals", "47.5"),
    int: ("a whole number", "2"),
    date: ("a day, year-month-day", "2031-05-14"),
    Path: ("the name of a file or a folder", '"my file"'),
    str: ("a word, in quotation marks where it holds spaces", '"my word"'),
}
"""What an option of each type takes, and an example."""

UNITS = "ohm|Ω|Hz|V|W|%|s"
"""Units without a prefix: behind a number they can be left out. Who writes 20 kHz does not mean 20."""


def usage_error(error: "CycloptsError") -> UsageError:
    """Say what is wrong with a command line: which word, and what would be right.

    Parameters
    ----------
    error : CycloptsError
        What the parser has to say.
    """
    tellers: dict[str, Callable[[Any], UsageError]] = {
        "UnknownCommandError": _unknown_command,
        "UnknownOptionError": _unknown_option,
        "MissingArgumentError": _missing,
        "CoercionError": _wrong_value,
        "RepeatArgumentError": _twice,
        "UnusedCliTokensError": _left_over,
        "ArgumentOrderError": _out_of_order,
    }
    return tellers.get(type(error).__name__, _anything)(error)


def _command(error: "CycloptsError") -> str:
    return " ".join(("wattproof", *(error.command_chain or ())))


def _help(error: "CycloptsError") -> str:
    return f"{_command(error)} --help tells what it takes."


def _nearest(word: str, known: list[str]) -> str | None:
    from difflib import get_close_matches

    return next(iter(get_close_matches(word, known, n=1, cutoff=0.6)), None)


def _unknown_command(error: "UnknownCommandError") -> UsageError:
    word, at = (error.unused_tokens or [""])[0], _command(error)
    known = [name for name in (error.app or ()) if not name.startswith("-")] if error.app is not None else []
    listed = f"the commands are {', '.join(known)}"
    if word.startswith("-"):
        return UsageError(
            f"{at} itself has no option {word}.",
            why=f"a command comes first; {listed}",
            hint=f"Write the command before its options; {at} --help lists them.",
        )
    close = _nearest(word, known)
    return UsageError(
        f'{at} has no command "{word}".',
        why=listed,
        hint=f"Write {at} {close}." if close else f"{at} --help tells what each command does.",
    )


def _options(arguments: "ArgumentCollection") -> list[str]:
    return [name for argument in arguments for name in argument.names if name.startswith("--")]


def _unknown_option(error: "UnknownOptionError") -> UsageError:
    word = (error.token.value or error.token.keyword or "").partition("=")[0]
    known = _options(error.argument_collection)
    # whoever leaves the unit out means the option that has it
    close = next((name for name in known if name.startswith(f"{word}-")), None) or _nearest(word, known)
    return UsageError(
        f"{_command(error)} has no option {word}.",
        why=f"its options are {', '.join(known)}",
        hint=f"Write {close}." if close else _help(error),
    )


def _missing(error: "MissingArgumentError") -> UsageError:
    name = _name(error.argument)
    wanted, example = _takes(error.argument)
    if name.startswith("--"):
        return UsageError(
            f"{name} lacks its value.",
            why=f"it takes {wanted}",
            hint=f"Write it behind the option, for example {name} {example}",
        )
    return UsageError(
        f"{_command(error)} lacks {name}.", why=f"it takes {wanted}, and none was given", hint=_help(error)
    )


def _wrong_value(error: "CoercionError") -> UsageError:
    name, token = _name(error.argument), error.token
    given = token.value if token is not None else ""
    if error.target_type is bool:
        return UsageError(
            f'{name} cannot be "{given}".',
            why="it stands alone",
            hint=f"Write {name} without a value, or leave it out.",
        )
    wanted, example = _takes(error.argument)
    meant = _meant(given, error.argument)
    return UsageError(
        f'{name} cannot be "{given}".',
        why=f"it takes {wanted}",
        hint=f"Write {name} {meant}" if meant else f"Write for example {name} {example}",
    )


def _meant(given: str, argument: "Argument | None") -> str | None:
    """Guess what was meant: the nearest choice, or the number without its unit or its decimal comma."""
    choices, kind = _choices_and_type(argument)
    if choices:
        return _nearest(given, choices)
    if kind is not float:
        return None
    found = re.fullmatch(rf"\s*(-?\d+(?:[.,]\d+)?)\s*(?:{UNITS})?\s*", given)
    # 1,000 may be a thousand
    return found[1].replace(",", ".") if found and not re.search(r",\d{3}$", found[1]) else None


def _twice(error: "RepeatArgumentError") -> UsageError:
    name = error.token.keyword or _name(error.argument)
    return UsageError(
        f"{name} is given twice.", why="it takes one value", hint=f"Keep one {name} and delete the other."
    )


def _left_over(error: "UnusedCliTokensError") -> UsageError:
    words = " ".join(error.unused_tokens or ())
    return UsageError(
        f'{_command(error)} has no use for "{words}".',
        why="it takes no further word there",
        hint=f'Leave out "{words}", or put quotation marks round what belongs together. {_help(error)}',
    )


def _out_of_order(error: "ArgumentOrderError") -> UsageError:
    return UsageError(
        f'"{error.token}" stands where it cannot be placed.',
        why="words without an option come before those with one",
        hint=_help(error),
    )


def _anything(error: "CycloptsError") -> UsageError:
    return UsageError(f"{_command(error)} cannot be run with these words.", why=str(error), hint=_help(error))


def _name(argument: "Argument | None") -> str:
    return argument.names[0] if argument is not None and argument.names else "a word"


def _choices_and_type(argument: "Argument | None") -> tuple[list[str], type]:
    """Give the words an argument chooses from, if it does, and the type of its value."""
    annotation = argument.hint if argument is not None else str
    parts = [annotation, *get_args(annotation), *(inner for part in get_args(annotation) for inner in get_args(part))]
    choices = [part for part in parts if isinstance(part, str)]
    return choices, next((part for part in parts if part in WANTED), str)


def _takes(argument: "Argument | None") -> tuple[str, str]:
    """Say what an argument takes, and give an example."""
    choices, kind = _choices_and_type(argument)
    if choices:
        shown = [word if word.isalnum() else f'"{word}"' for word in choices]
        return f"one of {', '.join(shown)}", shown[0]
    return WANTED[kind]
