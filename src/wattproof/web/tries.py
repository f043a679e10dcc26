"""Wrong pairing codes, counted: guessing must take longer than anyone has."""

from time import monotonic

FREE_TRIES = 5
WAIT_S = 30.0
"""After so many wrong codes of anyone the next is looked at only after this, and twice as long each time, seconds."""


class Tries:
    """Counts wrong codes of whoever they are from: a guesser may come under many names."""

    def __init__(self) -> None:
        self._wrong = 0
        self._not_before_s = 0.0

    def wait_s(self) -> float:
        """Give the seconds until a code is looked at again."""
        return max(0.0, self._not_before_s - monotonic())

    def failed(self) -> None:
        """Count a wrong code."""
        self._wrong += 1
        if self._wrong >= FREE_TRIES:
            self._not_before_s = monotonic() + WAIT_S * 2 ** min(self._wrong - FREE_TRIES, 10)
