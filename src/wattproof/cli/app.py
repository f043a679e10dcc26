"""The command line's frame: it finds the command, and says an error."""

import io
import os
import sys
from typing import TYPE_CHECKING

from wattproof import __version__
from wattproof.cli.words import COMMANDS, EPILOGUE, GROUPS, PURPOSE, overview
from wattproof.errors import InternalFaultError, WattproofError

if TYPE_CHECKING:
    from cyclopts import App


def build() -> "App":
    """Put the app together; the commands' modules are imported only when they are used."""
    from cyclopts import App, Parameter

    app = App(
        name="wattproof",
        version=f"wattproof {__version__}",
        help=PURPOSE,
        help_epilogue=EPILOGUE,
        default_parameter=Parameter(negative=(), show_default=False),
        help_format="plaintext",
        suppress_keyboard_interrupt=False,  # we say ourselves how a stopped command leaves things
    )
    groups = {word: App(name=word, help=text) for word, text in GROUPS.items()}
    for group in groups.values():
        app.command(group)
    for words, text in COMMANDS.items():
        home = groups[words[0]] if len(words) > 1 else app
        home.command(f"wattproof.cli.commands:{'_'.join(words)}", name=words[-1], help=text)
    return app


def main(words: list[str] | None = None) -> None:
    """Run the command line and leave with its exit status: 0 done, 1 a fault of ours, 2 bad input, 130 stopped."""
    words = sys.argv[1:] if words is None else words
    as_json = "--json" in words or "--json-lines" in words
    _write_any_name()
    try:
        _run(words)
        sys.stdout.flush()
    except WattproofError as error:
        sys.exit(_say(error, as_json=as_json))
    except KeyboardInterrupt:
        print("\nStopped. Nothing is half-written.", file=sys.stderr)
        sys.exit(130)
    except BrokenPipeError:
        # whoever read our output has left: no fault of anybody
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)
    except Exception as error:  # noqa: BLE001  (the last edge: a bug keeps its traceback, the person gets a word)
        import traceback

        traceback.print_exc()
        fault = InternalFaultError(
            "Wattproof has a fault.",
            why=f"{type(error).__name__}: {error}",
            hint="Nothing you recorded is lost. Please report it with the lines above and, if you can, the file.",
        )
        sys.exit(_say(fault, as_json=as_json))


def _write_any_name() -> None:
    """Let a name that the terminal's encoding does not know be spelled out rather than stop the answer."""
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="backslashreplace")


def _run(words: list[str]) -> None:
    if words in ([], ["--help"], ["-h"]):
        print(overview())
        return
    if words == ["--version"]:
        print(f"wattproof {__version__}")
        return
    from cyclopts import CycloptsError

    try:
        build()(words, exit_on_error=False, print_error=False, result_action="return_value")
    except CycloptsError as error:
        from wattproof.cli.misuse import usage_error

        raise usage_error(error) from error


def _say(error: WattproofError, *, as_json: bool) -> int:
    if as_json:
        import json

        body = {"code": error.code, "message": error.message, "why": error.why, "hint": error.hint}
        print(json.dumps({"error": body}, ensure_ascii=False), file=sys.stderr)
        return error.exit_status
    lines = [f"error: {error.code}", f"  {_indented(error.message)}"]
    lines += [f"  why: {_indented(error.why)}"] if error.why else []
    lines += [f"  try: {_indented(error.hint)}"] if error.hint else []
    print("\n".join(lines), file=sys.stderr)
    return error.exit_status


def _indented(text: str) -> str:
    return text.replace("\n", "\n    ")
