"""A run as the pages see it: one line to its window, handed on to every page; one page holds the controls."""

import asyncio
import json
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from time import monotonic
from typing import Any

from wattproof.tasks import StepRan, Workbench

MOST_WAITING = 400
"""Messages that may wait for a page; one that is further behind is sent away and comes back by itself."""

SEEN_EVERY_S = 1.0
GONE_AFTER_S = 5.0
"""A page that has said nothing for this long is gone, seconds."""

LONGEST_LINE = 1 << 22
MOST_ANSWER = 2000
STEP_ENDED = '{"event": "step-ended"'
Message = dict[str, Any]


def _worded(ended: Message) -> Message:
    """Put what a finished step has found into words: a page rounds no figure that counts."""
    known = {name: value for name, value in ended.items() if name in StepRan.model_fields}
    return {**ended, "found": StepRan.model_validate(known).found()}


@dataclass(eq=False)
class Page:
    """One page that watches."""

    queue: "asyncio.Queue[str | None]" = field(default_factory=lambda: asyncio.Queue(MOST_WAITING))
    heard_s: float = field(default_factory=monotonic)

    def put(self, text: str) -> bool:
        """Hand a message over; false where too many wait."""
        try:
            self.queue.put_nowait(text)
        except asyncio.QueueFull:
            return False
        return True


class WatchedRun:
    """A line to a run's window.

    Parameters
    ----------
    session : str
    port, secret
        As the window's address says.
    on_end : callable
        Called when the run has let go.
    """

    def __init__(self, session: str, *, port: int, secret: str, on_end: Callable[["WatchedRun"], None]) -> None:
        self.session = session
        self.pages: list[Page] = []
        self.holder: Page | None = None
        self._port, self._secret, self._on_end = port, secret, on_end
        self._writer: asyncio.StreamWriter | None = None
        self._tasks: list[asyncio.Task[None]] = []

    async def open(self) -> bool:
        """Connect; false where nobody answers any more."""
        try:
            reader, self._writer = await asyncio.open_connection("127.0.0.1", self._port, limit=LONGEST_LINE)
            self._send({"secret": self._secret})
            first = await reader.readline()
        except OSError:
            return False
        if not first:
            await self._hang_up()
            return False
        self._far: Message = json.loads(first)
        self._tasks = [asyncio.create_task(self._follow(reader)), asyncio.create_task(self._look_on())]
        return True

    async def join(self) -> Page:
        """Let a page watch: it gets what was so far by a line of its own, then all that comes."""
        page = Page()
        self.pages.append(page)  # before it is told what was: nothing may fall between
        far = await self.so_far()
        meanwhile = [page.queue.get_nowait() for _ in range(page.queue.qsize())]
        for text in (json.dumps(far), *meanwhile):
            page.queue.put_nowait(text)
        if self.holder is None:
            self.holder = page
        self._tell_holders()
        return page

    def leave(self, page: Page) -> None:
        """Let a page go; the controls stay with nobody until one takes them."""
        if page in self.pages:
            self.pages.remove(page)
        if self.holder is page:
            self.holder = None
        self._tell_holders()

    def hear(self, page: Page, message: Message) -> None:
        """Take a page's word: any page may stop; only the one that holds the controls may answer."""
        page.heard_s = monotonic()
        match message.get("do"):
            case "here":
                page.put(json.dumps({"event": "here"}))  # so that a page can tell a dead line from a quiet run
            case "stop":
                self.stop()
            case "take-controls":
                self.holder = page
                self._tell_holders()
            case "answer" if self.holder is page:
                self.answer(message.get("id"), str(message.get("text", "")))
            case "leave" if self.holder is page:
                seconds = message.get("seconds")
                self._send({"do": "leave", "seconds": seconds if isinstance(seconds, int | float) else None})

    def stop(self) -> None:
        """Stop the drive."""
        self._send({"do": "stop"})

    def answer(self, number: object, text: str) -> None:
        """Answer what the run asks."""
        self._send({"do": "answer", "id": number, "text": text[:MOST_ANSWER]})

    def leave_after(self, seconds: float | None) -> None:
        """Choose that the drive stops when no page has been open for so long; None: it goes on."""
        self._send({"do": "leave", "seconds": seconds})

    async def close(self) -> None:
        """Let go of the run, which goes on."""
        await self._hang_up()  # which ends the following
        await asyncio.wait(self._tasks[:1], timeout=1.0)

    async def _hang_up(self) -> None:
        for task in self._tasks[1:]:
            task.cancel()
        if self._writer is not None:
            self._writer.close()
            with suppress(OSError):
                await self._writer.wait_closed()

    def _send(self, message: Message) -> None:
        if self._writer is not None and not self._writer.is_closing():
            self._writer.write(json.dumps(message).encode() + b"\n")

    async def so_far(self) -> Message:
        """Ask the window anew what has been: it remembers, so that nothing is remembered twice."""
        far = await self._asked_anew()
        return {**far, "ended": [_worded(step) for step in far.get("ended", ())]}

    async def _asked_anew(self) -> Message:
        with suppress(OSError):
            reader, writer = await asyncio.open_connection("127.0.0.1", self._port, limit=LONGEST_LINE)
            writer.write(json.dumps({"secret": self._secret}).encode() + b"\n")
            line = await reader.readline()
            writer.close()
            await writer.wait_closed()
            if line:
                found: Message = json.loads(line)
                return found
        return self._far

    async def _follow(self, reader: asyncio.StreamReader) -> None:
        try:
            while line := await reader.readline():
                text = line.decode()
                if text.startswith(STEP_ENDED):
                    text = json.dumps(_worded(json.loads(text)))
                for page in [page for page in self.pages if not page.put(text)]:
                    self.send_away(page)
        except (OSError, ValueError):
            pass
        finally:
            for page in list(self.pages):
                page.put(json.dumps({"event": "window-closed"}))
                self.send_away(page)
            self._on_end(self)
            await self._hang_up()

    async def _look_on(self) -> None:
        """Tell the run that somebody looks on, for as long as a page is there."""
        while True:
            await asyncio.sleep(SEEN_EVERY_S)
            gone = [page for page in self.pages if monotonic() - page.heard_s > GONE_AFTER_S]
            for page in gone:
                self.send_away(page)
                self.leave(page)
            if self.pages:
                self._send({"do": "seen"})

    def send_away(self, page: Page) -> None:
        """End what is handed to a page; it may come back."""
        with suppress(asyncio.QueueFull):
            page.queue.put_nowait(None)
            return
        while not page.queue.empty():
            page.queue.get_nowait()
        page.queue.put_nowait(None)

    def _tell_holders(self) -> None:
        for page in self.pages:
            held = "mine" if page is self.holder else "free" if self.holder is None else "another's"
            page.put(json.dumps({"event": "controls", "held": held, "pages": len(self.pages)}))


class Watching:
    """The runs that are watched; made when the first page asks, and again after the server was away.

    Parameters
    ----------
    place : Workbench
    """

    def __init__(self, place: Workbench) -> None:
        self._place = place
        self._runs: dict[str, WatchedRun] = {}
        self._lock = asyncio.Lock()

    async def find(self, session: str) -> WatchedRun | None:
        """Give the run of a session that is going on; None where none is, or it has let go."""
        async with self._lock:
            if session in self._runs:
                return self._runs[session]
            for address in await asyncio.to_thread(self._place.running):
                if address.session != session:
                    continue
                run = WatchedRun(session, port=address.port, secret=address.secret, on_end=self._ended)
                if await run.open():
                    self._runs[session] = run
                    return run
            return None

    async def close(self) -> None:
        """Let go of all."""
        for run in list(self._runs.values()):
            await run.close()
        self._runs.clear()

    def _ended(self, run: WatchedRun) -> None:
        self._runs.pop(run.session, None)
