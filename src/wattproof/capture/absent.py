"""A part that could not be opened: it fails its check with the reason, and whoever uses it is told the same."""

from collections.abc import Callable
from typing import NoReturn

from wattproof.bench import Load
from wattproof.capture.checks import failed_check
from wattproof.capture.contract import Drive, PartCheck, Watch
from wattproof.errors import WattproofError
from wattproof.waveform import Channel


class AbsentPart:
    """Stands where a recorder, a supply, a load or a meter should be, so that a check can name all that is missing.

    Parameters
    ----------
    part : str
        "supply", for the check.
    error : WattproofError
        Why it is not there.
    quantity : str
        A meter's.
    rate_hz : float, Hz
        A recorder's.
    """

    channels: tuple[Channel, ...] = ()
    outputs: tuple[str, ...] = ()

    def __init__(self, part: str, error: WattproofError, *, quantity: str = "", rate_hz: float = 0.0) -> None:
        self._part, self._error = part, error
        self.quantity, self.rate_hz = quantity, rate_hz

    def _refuse(self) -> NoReturn:
        raise self._error

    def on(self, volts: float, *, limit_a: float | None) -> None:  # noqa: ARG002 - a supply's
        """Raise why it is not there."""
        self._refuse()

    def use(self, load: Load | None) -> None:  # noqa: ARG002 - a load's
        """Raise why it is not there."""
        self._refuse()

    def read(self) -> float:
        """Raise why it is not there."""
        self._refuse()

    def play(self, drive: Drive, watch: Watch, *, on_trip: Callable[[], None]) -> NoReturn:  # noqa: ARG002
        """Raise why it is not there."""
        self._refuse()

    def pass_time(self, seconds: float) -> None:  # noqa: ARG002 - a recorder's
        """Raise why it is not there."""
        self._refuse()

    def off(self) -> None:
        """Nothing to switch off."""

    def alive(self) -> None:
        """Nothing to feed."""

    def mute(self) -> None:
        """Nothing to mute."""

    def check(self) -> PartCheck:
        """Tell why it is not there."""
        return failed_check(self._part, self._error)

    def close(self) -> None:
        """Nothing to let go of."""
