"""Lining a clip up with a camera: one event found in the camera's sound and in the capture."""

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from math import isfinite
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from wattproof.errors import MissingChannelError, NoToneError, SettingsError
from wattproof.measure import CaptureResult, SameEvent, heard_clap, same_clap, same_tone
from wattproof.readers import open_recording
from wattproof.tasks.measuring import opened
from wattproof.tasks.overlaid import CameraPlace
from wattproof.tasks.sessions import item_of
from wattproof.waveform import Recording

if TYPE_CHECKING:
    from wattproof.archive import Archive, CaptureRecord, Session

LONGEST_S = 1800.0
"""So much of a camera's sound is searched at once."""

SAID_U_S = 1e-3
"""Standard uncertainty of a clap's place in the capture that a person states: read off a picture of the samples."""

BLOCK = 1 << 18


@dataclass(frozen=True, kw_only=True)
class CameraWishes:
    """How a clip is lined up with the camera's sound.

    Attributes
    ----------
    sync : Path or None
        Sound of the camera's file, from its first frame on, as WAV or FLAC.
    sync_near_s : float or None
        Second of that sound near which the clap is, or the capture begins, where several places are alike.
    clap_track : str or None
        Track of the capture that heard the clap too, by name or number: a microphone on a spare input.
    clap_at_s : float or None
        Second of the capture at which the clap was, below 0 before it began.
    sync_distance_m : float
        Metres from the clap, or from what sounds, to the camera's microphone; sound takes 2.9 ms for each.
    """

    sync: Path | None = None
    sync_near_s: float | None = None
    clap_track: str | None = None
    clap_at_s: float | None = None
    sync_distance_m: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what cannot be followed."""
        if self.clap_track is not None and self.clap_at_s is not None:
            raise SettingsError(
                "The clap is in the capture twice.",
                why="both --clap-track and --clap-at-s say where",
                hint="Leave out one of them.",
            )
        for name in ("sync_near_s", "clap_at_s", "sync_distance_m"):
            value = getattr(self, name)
            option = f"--{name.replace('_', '-')}"
            if value is not None and not (isfinite(value) and abs(value) < 1e6):
                raise SettingsError(f"{option} cannot be {value:g}.", why="it is out of bounds", hint="Correct it.")
        if not 0 <= self.sync_distance_m <= 1000:
            raise SettingsError(
                f"--sync-distance-m cannot be {self.sync_distance_m:g}.",
                why="it takes metres from 0 to 1000",
                hint="Give the distance from the clap to the camera's microphone.",
            )
        said = (self.sync_near_s, self.clap_track, self.clap_at_s)
        if self.sync is None and any(word is not None for word in said):
            raise SettingsError(
                "There is no camera's sound to look into.",
                why="it is said where the clap is, but --sync is missing",
                hint="Give the sound of the camera's file, for example --sync camera.wav.",
            )


@dataclass(frozen=True, kw_only=True)
class Synced:
    """One event, heard by the camera and placed in the capture.

    Attributes
    ----------
    event : SameEvent
    camera_zero_s : Fraction, seconds
        Time of the capture at which the camera's recording begins.
    camera_length_s : float, seconds
        Length of its sound.
    """

    event: SameEvent
    camera_zero_s: Fraction
    camera_length_s: float

    def told(self, *, frame: int, code: str, rate: Fraction) -> CameraPlace:
        """Say where the clip lies in the camera's recording."""
        doubts = list(self.event.doubts)
        half_ms, frame_ms = 2000 * self.event.u_s, 1000 / float(rate)
        if half_ms > frame_ms / 2:
            doubts.append(f"The place is known to ± {half_ms:.0f} ms only; a frame lasts {frame_ms:.0f} ms.")
        if frame < 0:
            doubts.append(
                f"The clip begins {-frame} frames before the camera's file: cut them off, or begin later with --from-s."
            )
        return CameraPlace(
            by=self.event.by,
            heard_s=self.event.heard_s,
            heard_u_s=self.event.heard_u_s,
            capture_s=self.event.capture_s,
            capture_u_s=self.event.capture_u_s,
            first_s=float(frame / rate),
            first_frame=frame,
            timecode=code,
            doubts=tuple(doubts),
        )


def sync_with(
    camera: CameraWishes,
    *,
    store: "Archive",
    session: "Session",
    record: "CaptureRecord",
    result: CaptureResult,
    output: str,
    tell: Callable[[str], None] | None,
) -> Synced | None:
    """Line up with the camera's sound; None without one.

    Raises
    ------
    SettingsError
        The sound is too long to search.
    MissingChannelError
        The capture has no such track.
    MeasureError
        The event was not heard.
    """
    if camera.sync is None:
        return None
    if tell is not None:
        tell(f"Looking into {camera.sync.name}")
    recording = open_recording(camera.sync)
    length_s = recording.n_samples / recording.rate_hz
    if length_s > LONGEST_S:
        raise SettingsError(
            f"{camera.sync.name} is too long to search.",
            why=f"it lasts {length_s:.0f} s; at most {LONGEST_S:.0f} s are searched",
            hint="Cut the footage first, and give the sound of the part around the capture.",
        )
    sound = _column(recording, _loudest(recording))
    mine = opened(item_of(store, session, record))
    if camera.clap_track is None and camera.clap_at_s is None:
        event = _by_tone(sound, recording.rate_hz, mine, result, output=output, camera=camera)
    else:
        event = _by_clap(sound, recording.rate_hz, mine, camera=camera)
    zero_s = Fraction(event.offset_s).limit_denominator(10**7)
    return Synced(event=event, camera_zero_s=zero_s, camera_length_s=length_s)


def _by_clap(sound: NDArray[np.float32], rate_hz: float, capture: Recording, *, camera: CameraWishes) -> SameEvent:
    doubts: tuple[str, ...] = ()
    at_s, u_s = camera.clap_at_s or 0.0, SAID_U_S
    if camera.clap_track is not None:
        track = _track(capture, camera.clap_track)
        clap, doubts = heard_clap(_column(capture, track), rate_hz=capture.rate_hz, source=capture.source)
        at_s, u_s = clap.t_s, clap.u_s
    event = same_clap(
        sound, rate_hz=rate_hz, capture_s=at_s, capture_u_s=u_s, near_s=camera.sync_near_s,
        distance_m=camera.sync_distance_m,
    )  # fmt: skip
    return SameEvent(
        by="clap", heard_s=event.heard_s, heard_u_s=event.heard_u_s, capture_s=at_s, capture_u_s=u_s,
        doubts=(*event.doubts, *doubts),
    )  # fmt: skip


def _by_tone(
    sound: NDArray[np.float32], rate_hz: float, capture: Recording, result: CaptureResult, *, output: str,
    camera: CameraWishes,
) -> SameEvent:  # fmt: skip
    names = [c.name for c in result.channels if c.role == "load_voltage" and c.output in {output, None}]
    tones = [figure.conditions.get("frequency_hz") for figure in result.figures]
    tone_hz = next((float(tone) for tone in tones if isinstance(tone, float | int)), None)
    if not names or tone_hz is None:
        raise NoToneError(
            "The capture's tone is not known.", why="no figure of it states a frequency", hint="Use --clap-at-s."
        )
    return same_tone(
        sound,
        _column(capture, _track(capture, names[0])),
        rate_hz=rate_hz,
        pattern_rate_hz=capture.rate_hz,
        tone_hz=tone_hz,
        near_s=camera.sync_near_s,
        distance_m=camera.sync_distance_m,
    )


def _track(recording: Recording, word: str) -> int:
    """Find a track by name, or by its number counted from 1."""
    names = [channel.name for channel in recording.channels]
    if word in names:
        return names.index(word)
    if word.isascii() and word.isdigit() and 1 <= int(word) <= len(names):
        return int(word) - 1
    raise MissingChannelError(
        f'{recording.source} has no track "{word}".',
        why=f"it has {', '.join(names)}",
        hint="Give the name or the number of the track that heard the clap.",
    )


def _loudest(recording: Recording) -> int:
    """Choose the track that heard the most: cameras leave one silent where one microphone is plugged in."""
    energy = np.zeros(len(recording.channels))
    for block in recording.blocks(BLOCK):
        energy += np.sum(np.square(block - block.mean(axis=0)), axis=0, dtype=np.float64)
    return int(np.argmax(energy))


def _column(recording: Recording, index: int) -> NDArray[np.float32]:
    """Read one track, leaving the others on the disk; samples that are none become silence."""
    # copied: a block is valid until the next one only
    column = np.concatenate([np.array(block[:, index], dtype=np.float32) for block in recording.blocks(BLOCK)])
    column[~np.isfinite(column)] = 0.0
    return column
