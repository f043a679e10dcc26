"""A run begun in a process of its own: it goes on whatever becomes of who began it."""

import json
import subprocess
import sys
import threading
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from tempfile import TemporaryFile
from typing import TYPE_CHECKING

from wattproof.errors import InternalFaultError, WattproofError

if TYPE_CHECKING:
    from wattproof.archive import Archive, WindowAddress


def _kinds(kind: type[WattproofError] = WattproofError) -> dict[str, type[WattproofError]]:
    """Give every kind of error by its code."""
    return {kind.code: kind} | {code: one for below in kind.__subclasses__() for code, one in _kinds(below).items()}


class BegunRun:
    """A run that was begun; a thread waits for its end, so that it leaves nothing behind.

    Parameters
    ----------
    words : sequence of str
        What `wattproof` is told.
    store : Archive
        Where it leaves the address of its window.
    """

    def __init__(self, words: Sequence[str], store: "Archive") -> None:
        self._store = store
        self._lines: list[str] = []
        self._ended = threading.Event()
        self._said = TemporaryFile()  # noqa: SIM115  (closed by the thread that waits)
        self._process = subprocess.Popen(
            [sys.executable, "-m", "wattproof", *words],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=self._said,
            start_new_session=True,  # Ctrl-C at a server's terminal does not reach it
        )
        threading.Thread(target=self._wait, name="wattproof-begun", daemon=True).start()

    @property
    def over(self) -> bool:
        """Whether the process has ended."""
        return self._ended.is_set()

    def window(self) -> "WindowAddress | None":
        """Give where it can be watched; None while it is not there yet.

        Raises
        ------
        WattproofError
            The run has ended already, with this reason.
        """
        for address in self._store.windows():
            if address.pid == self._process.pid:
                return address
        if self.over and self._process.returncode != 0:
            raise self._reason()
        return None

    def _wait(self) -> None:
        self._process.wait()
        with self._said:
            self._said.seek(0)
            self._lines = self._said.read().decode("utf-8", "replace").splitlines()
        self._ended.set()

    def _reason(self) -> WattproofError:
        for line in reversed(self._lines):
            with suppress(ValueError, KeyError, TypeError):
                said = json.loads(line)["error"]
                return _kinds()[said["code"]](said["message"], why=said["why"], hint=said["hint"])
        return InternalFaultError(
            "The run ended before it began.",
            why=f"exit status {self._process.returncode}; " + (" ".join(self._lines[-3:]) or "it said nothing"),
            hint="Begin it on the command line to see more: wattproof run --help",
        )


def begin(
    store: "Archive",
    *,
    files: Sequence[Path] = (),
    session: str | None = None,
    sheet: Path | None = None,
    answers: Sequence[str] = (),
    skip: Sequence[int] = (),
    clear_trip: str | None = None,
    note: str = "",
) -> BegunRun:
    """Begin a run as `wattproof run --window` does, in a process of its own.

    Parameters
    ----------
    store : Archive
    files : sequence of Path
        amplifier.toml and bench.toml; none to go on with a session.
    session : str or None
    sheet : Path or None
    answers : sequence of str
        Each CODE=WORDS.
    skip : sequence of int
    clear_trip : str or None
    note : str
    """
    words = ["run", *map(str, files), "--archive", str(store.root), "--window", "--json-lines"]
    words += [] if session is None else ["--session", session]
    words += [] if sheet is None else ["--sheet", str(sheet)]
    words += [word for answer in answers for word in ("--answer", answer)]
    words += [word for number in skip for word in ("--skip", str(number))]
    words += [] if not clear_trip else ["--clear-trip", clear_trip]
    words += [] if not note else ["--note", note]
    return BegunRun(words, store)
