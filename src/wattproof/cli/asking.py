"""A person at the terminal: asked for a deed, a number or a choice; nothing is taken for an answer that is none."""

import shutil
import sys
from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext

from wattproof.cli.words import folded
from wattproof.errors import GuardTripError, RefusedError

STOP = "stop"
WIDEST = 120
"""Columns that a question takes at most."""


class TerminalOperator:
    """Asks on standard error and listens on standard input.

    Parameters
    ----------
    aside : callable or None
        Gives a context in which a display that moves stands still.
    """

    def __init__(self, aside: Callable[[], AbstractContextManager[object]] | None = None) -> None:
        self._aside = aside or nullcontext

    def do(self, what: str, *, hint: str = "") -> None:
        """Ask for something to be done by hand, and wait until it is.

        Raises
        ------
        GuardTripError
            The person would rather stop.
        RefusedError
            Nobody answers.
        """
        said = self._ask([f"To do: {what}", *([f"  {hint}"] if hint else [])], f"Enter when it is done, or {STOP}: ")
        if said.lower() == STOP:
            raise GuardTripError(
                "The run was stopped at the bench.", why=f"asked to: {what}", hint="Go on when you are ready."
            )

    def number(self, what: str, *, unit: str) -> float:
        """Ask for a reading until it is a number.

        Raises
        ------
        RefusedError
            Nobody answers.
        """
        lines = [f"Reading: {what}"]
        while True:
            said = self._ask(lines, f"in {unit}: ")
            try:
                return float(said.replace(",", "."))
            except ValueError:
                lines = [f'  "{said}" is no number: a point before the decimals, no unit.']

    def choose(self, what: str, choices: tuple[str, ...]) -> str:
        """Ask for one of several answers, or for any words where there are no choices.

        Raises
        ------
        RefusedError
            Nobody answers.
        """
        lines = [what]
        prompt = f"({' / '.join(choices)}) " if choices else "> "
        while True:
            said = self._ask(lines, prompt)
            meant = [choice for choice in choices if choice.lower().startswith(said.lower())] if said else []
            if not choices and said:
                return said
            if said.lower() in {choice.lower() for choice in choices} or len(meant) == 1:
                return next((choice for choice in choices if choice.lower() == said.lower()), meant[0])
            lines = [f'  "{said}" is none of the answers.'] if said else []

    def _ask(self, lines: list[str], prompt: str) -> str:
        with self._aside():
            columns = min(shutil.get_terminal_size().columns, WIDEST)
            for line in lines:
                print(folded(line, columns), file=sys.stderr)
            print(prompt, end="", file=sys.stderr, flush=True)
            line = sys.stdin.readline()
        if not line:
            print(file=sys.stderr)
            raise RefusedError(
                "Nobody answers.",
                why=f"asked: {lines[0] if lines else prompt.strip()}",
                hint="Run it in a terminal, or give all answers beforehand with --answer CODE=WORDS.",
            )
        return line.strip()


def somebody() -> bool:
    """Whether a person can be asked: both what they read and what they type is a terminal."""
    return sys.stdin.isatty() and sys.stderr.isatty()
