"""Work that takes longer than a page may: in a thread of its own, told as it goes, ended when nobody wants it."""

import logging
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from itertools import count
from time import monotonic
from typing import Literal, Protocol

from wattproof.errors import InternalFaultError, RefusedError, WattproofError

MOST_KEPT = 100
MOST_WAITING = 50
MOST_LINES = 200

State = Literal["waiting", "working", "done", "failed", "cancelled"]
Tell = Callable[[str], None]

_log = logging.getLogger(__name__)


class Holding(Protocol):
    """What a piece of work leaves until nobody can ask for it any more."""

    def close(self) -> None:
        """Take it away."""


class CancelledError(Exception):
    """The person does not want it any more."""


@dataclass(kw_only=True)
class Job:
    """A piece of work.

    Attributes
    ----------
    number : int
    browser : str
        Who asked for it.
    title : str
    state : State
    lines : list of str
        What it has told so far, the newest last.
    address : str
        Where its result is, once it is done.
    error : WattproofError or None
    seconds : float
        How long it took, or has taken so far.
    holding : Holding or None
        What it leaves; taken away with it.
    """

    number: int
    browser: str
    title: str
    state: State = "waiting"
    lines: list[str] = field(default_factory=list)
    address: str = ""
    error: WattproofError | None = None
    began_s: float = field(default_factory=monotonic)
    seconds: float = 0.0
    holding: Holding | None = None
    unwanted: threading.Event = field(default_factory=threading.Event, repr=False)

    @property
    def over(self) -> bool:
        """Whether nothing comes any more."""
        return self.state in {"done", "failed", "cancelled"}


class Jobs:
    """Carries work out, two pieces at a time."""

    def __init__(self) -> None:
        self._pool = ThreadPoolExecutor(2, thread_name_prefix="wattproof-job")
        self._jobs: dict[int, Job] = {}
        self._numbers = count(1)
        self._lock = threading.Lock()

    def begin(self, browser: str, title: str, work: Callable[[Tell], str], *, holding: Holding | None = None) -> Job:
        """Begin a piece of work.

        Parameters
        ----------
        browser : str
            Who asks for it.
        title : str
            What it is.
        work : callable
            Gets a callable for lines of progress, which ends the work when it is no longer wanted; gives the address
            of the result.
        holding : Holding or None
            What it leaves; it is closed once the job is forgotten.

        Raises
        ------
        RefusedError
            So much waits already that it would be long before this began.
        """
        with self._lock:
            if sum(not one.over for one in self._jobs.values()) >= MOST_WAITING:
                raise RefusedError(
                    "There is too much to do already.",
                    why=f"{MOST_WAITING} pieces of work are not over",
                    hint="Wait until some are, or cancel some.",
                )
            job = Job(number=next(self._numbers), browser=browser, title=title, holding=holding)
            self._jobs[job.number] = job
            for old in [one for one in self._jobs.values() if one.over][: max(0, len(self._jobs) - MOST_KEPT)]:
                del self._jobs[old.number]
                if old.holding is not None:
                    old.holding.close()
        self._pool.submit(self._carry, job, work)
        return job

    def find(self, browser: str, number: int) -> Job | None:
        """Give a job of this browser; None of another's or of none."""
        job = self._jobs.get(number)
        return job if job is not None and job.browser == browser else None

    def all_of(self, browser: str) -> list[Job]:
        """Give the jobs of a browser that are still known, in the order they were asked for."""
        with self._lock:
            return [job for job in self._jobs.values() if job.browser == browser]

    def of(self, browser: str) -> list[Job]:
        """Give the jobs of a browser that are not over, in the order they were asked for."""
        return [job for job in self.all_of(browser) if not job.over]

    def cancel(self, job: Job) -> None:
        """End a job at its next line of progress, or before it begins."""
        job.unwanted.set()

    def close(self) -> None:
        """End all of it, and take away what it left."""
        for job in list(self._jobs.values()):
            job.unwanted.set()
        self._pool.shutdown(wait=False, cancel_futures=True)
        for job in list(self._jobs.values()):
            if job.holding is not None:
                job.holding.close()

    def _carry(self, job: Job, work: Callable[[Tell], str]) -> None:
        def tell(line: str) -> None:
            if job.unwanted.is_set():
                raise CancelledError
            job.lines.append(line)
            del job.lines[:-MOST_LINES]
            job.seconds = monotonic() - job.began_s

        try:
            job.state = "working"
            tell(job.title)
            job.address = work(tell)
            job.state = "done"
        except CancelledError:
            job.state = "cancelled"
        except WattproofError as error:
            job.error, job.state = error, "failed"
        except Exception as error:  # noqa: BLE001  (a thread has nobody else to tell)
            _log.exception("A piece of work has failed: %s", job.title)
            job.error = InternalFaultError(
                "Something is wrong in the workbench itself.",
                why=f"{type(error).__name__}; the terminal in which the workbench was started says more",
                hint="What was kept is safe. Try again; if it stays, report it with what you did.",
            )
            job.state = "failed"
        finally:
            job.seconds = monotonic() - job.began_s
