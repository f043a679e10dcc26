"""What `wattproof overlay` answers, and how it is said."""

import json
from math import hypot
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from wattproof import __version__


class _Answer(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


class OverlayChapter(_Answer):
    """A line of the chapter list."""

    at_s: float
    line: str = Field(description="minutes:seconds and the step")


class CameraPlace(_Answer):
    """Where the clip lies in the camera's recording."""

    by: Literal["clap", "tone"] = Field(description="what was found in both")
    heard_s: float = Field(description="where it is in the camera's sound")
    heard_u_s: float = Field(description="standard uncertainty of that place")
    capture_s: float = Field(description="where the same is in the capture")
    capture_u_s: float = Field(description="standard uncertainty of that place")
    first_s: float = Field(description="the clip's first frame, seconds from the first frame of the camera's file")
    first_frame: int = Field(description="the same in frames")
    timecode: str
    doubts: tuple[str, ...] = ()


class Overlaid(_Answer):
    """A clip, and how an editor lines it up."""

    wattproof: str = __version__
    schema_: Literal[1] = Field(default=1, alias="schema")
    session: str
    capture: str
    written: Path = Field(description="the clip, or the folder of its frames")
    format: Literal["mov", "webm", "png"]
    fps: str
    frames: int
    width_px: int
    height_px: int
    first_s: float = Field(description="time of the capture at which the first frame comes on; below 0 in a lead-in")
    seconds: float
    lag_s: float = Field(description="a number is at most so old, and a frame, when it is first seen")
    synced: CameraPlace | None = None
    chapters: tuple[OverlayChapter, ...] = ()

    def to_json(self) -> str:
        """Write the one object that `--json` prints."""
        return json.dumps(self.model_dump(mode="json", by_alias=True), indent=2, ensure_ascii=False)

    def text(self) -> str:
        """Say what was made and where it goes."""
        lines = [
            f"Written: {self.written}",
            f"  {self.frames} frames at {self.fps} a second ({self.seconds:.3f} s), {self.width_px}x{self.height_px}, "
            f"{_FORMATS[self.format]}",
            f"  The first frame comes on at {_seconds(self.first_s)} of the capture.",
            f"  A number is a mean over {_milli(self.lag_s)}, and seen within a frame after that has ended.",
        ]
        lines += [] if self.synced is None else self._place(self.synced)
        if self.chapters:
            lines += ["", "Chapters:", *(f"  {chapter.line}" for chapter in self.chapters)]
        return "\n".join(lines)

    def _place(self, place: CameraPlace) -> list[str]:
        half_ms = 2000 * hypot(place.heard_u_s, place.capture_u_s)
        found = {"clap": "The clap", "tone": "The capture's beginning, by its tone,"}[place.by]
        lines = [
            "",
            f"{found} is at {place.heard_s:.4f} s of the camera's sound and {place.capture_s:.4f} s of the capture, "
            f"together ± {half_ms:.1f} ms (95 %).",
            f"Lay the clip at {place.timecode} of the camera's time code: {place.first_frame} frames "
            f"({place.first_s:.3f} s) after its first.",
        ]
        return lines + [f"! {doubt}" for doubt in place.doubts]


_FORMATS = {
    "mov": "ProRes 4444, straight alpha",
    "webm": "VP9, straight alpha",
    "png": "PNG pictures, straight alpha",
}


def _seconds(value: float) -> str:
    return f"{value:.4f} s"


def _milli(seconds: float) -> str:
    return f"{1000 * seconds:.0f} ms" if seconds < 1 else f"{seconds:.2f} s"
