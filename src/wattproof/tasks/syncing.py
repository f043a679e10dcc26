"""Lining a clip up with a camera: one event found in the camera's sound and in the capture."""

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

from wattproof.errors import SettingsError
from wattproof.measure import CaptureResult
from wattproof.tasks.overlaid import CameraPlace

if TYPE_CHECKING:
    from wattproof.archive import Archive, CaptureRecord, Session


@dataclass(frozen=True, kw_only=True)
class CameraWishes:
    """How a clip is lined up with the camera's sound.

    Attributes
    ----------
    sync : Path or None
        Sound of the camera's file, from its first frame on, as WAV or FLAC.
    """

    sync: Path | None = None


@dataclass(frozen=True, kw_only=True)
class Synced:
    """One event, heard by the camera and placed in the capture.

    Attributes
    ----------
    camera_zero_s : Fraction, seconds
        Time of the capture at which the camera's recording begins.
    camera_length_s : float, seconds
        Length of its sound.
    """

    camera_zero_s: Fraction
    camera_length_s: float

    def told(self, *, frame: int, code: str, rate: Fraction) -> CameraPlace:
        """Say where the clip lies in the camera's recording."""
        raise NotImplementedError


def sync_with(
    camera: CameraWishes,
    *,
    store: "Archive",
    session: "Session",
    record: "CaptureRecord",
    result: CaptureResult,
    tell: Callable[[str], None] | None,
) -> Synced | None:
    """Line up with the camera's sound; None without one."""
    if camera.sync is not None:
        raise SettingsError(
            "A camera's sound cannot be used yet.", why="this version does not look into it", hint="Leave out --sync."
        )
    return None
