"""The server's end: soon after Ctrl-C, whatever is still open."""

import os
import threading
from types import FrameType

import uvicorn

GRACE_S = 1
"""What is open is cut off after this, seconds."""

LONGEST_END_S = 1.7
"""The process is over after this, seconds."""


class PromptServer(uvicorn.Server):
    """A server that does not wait for work in threads.

    Whatever is written to the archive is written aside and then renamed: an end at any moment leaves nothing half. Runs
    are processes of their own and go on.
    """

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        """Begin to end, and set a time by which it is over."""
        if not self.should_exit:
            timer = threading.Timer(LONGEST_END_S, os._exit, (0,))
            timer.daemon = True  # who has ended by then does not wait for it
            timer.start()
        super().handle_exit(sig, frame)
