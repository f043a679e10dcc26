"""The command line's frame: which words there are, and how an error is said."""

import json
import os
import sys
import traceback

from cyclopts import App, CycloptsError, Parameter

from wattproof import __version__
from wattproof.errors import InputError, InternalFaultError, WattproofError

COMMANDS = {
    ("read",): "Show what files were taken to be, and all that is doubtful about them.",
    ("measure",): "Measure captures and typed readings: figures with uncertainty, conditions and origin.",
    ("bench", "calibrate"): "Fit a channel's scale and offset from reference readings.",
    ("session", "new"): "Begin a session: one amplifier on one bench.",
    ("session", "add"): "Keep captures in a session, byte for byte.",
    ("session", "figures"): "Measure a session's captures and give the figures as a table, JSON, CSV or a page.",
    ("session", "list"): "List the sessions of the archive.",
    ("archive", "index"): "Make the archive's index again from its folders.",
    ("schema",): "Print the JSON Schema of what commands answer and of the files you write.",
    ("demo",): "Run the whole job on sample captures of a made-up amplifier.",
}
"""Every command and its line in the help; each is the task of the same name, words joined by an underscore."""

GROUPS = {
    "bench": "What is on the table: calibration.",
    "session": "Captures and figures of one amplifier, kept in the archive.",
    "archive": "The folder in which sessions are kept.",
}

EPILOGUE = """\
A first look:    wattproof read capture.wav
                 wattproof measure capture.wav --volts-per-unit 42 --load-ohm 4
With a bench:    wattproof measure ramp.wav --bench bench.toml --load "4 ohm"
All of it:       wattproof demo

Before power is on: fuse near the source, eye protection, no rings, guarded loads, a hardware stop within reach.
Never ground either terminal of a bridged output. Never leave it running alone."""


class UsageError(InputError):
    """The words on the command line are off."""

    code = "usage"


def build() -> App:
    """Put the app together; the commands' modules are imported only when they are used."""
    app = App(
        name="wattproof",
        version=f"wattproof {__version__}",
        help="From bench captures of vehicle audio amplifiers to figures one can defend.",
        help_epilogue=EPILOGUE,
        default_parameter=Parameter(negative=()),
        help_format="plaintext",
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
    as_json = "--json" in words
    try:
        build()(words, exit_on_error=False, print_error=False, result_action="return_value")
        sys.stdout.flush()
    except WattproofError as error:
        sys.exit(_say(error, as_json=as_json))
    except CycloptsError as error:
        hint = "wattproof --help lists the commands; wattproof COMMAND --help its options."
        sys.exit(_say(UsageError("That is no command we know how to run.", why=str(error), hint=hint), as_json=as_json))
    except KeyboardInterrupt:
        print("\nStopped. Nothing is half-written.", file=sys.stderr)
        sys.exit(130)
    except BrokenPipeError:
        # whoever read our output has left: no fault of anybody
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)
    except Exception as error:  # noqa: BLE001  (the last edge: a bug keeps its traceback, the person gets a word)
        traceback.print_exc()
        fault = InternalFaultError(
            "Wattproof has a fault.",
            why=f"{type(error).__name__}: {error}",
            hint="Nothing you recorded is lost. Please report it with the lines above and, if you can, the file.",
        )
        sys.exit(_say(fault, as_json=as_json))


def _say(error: WattproofError, *, as_json: bool) -> int:
    if as_json:
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
