"""Frames in, a clip with transparency out: the one place that runs the encoder."""

import subprocess
import tempfile
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import IO, Literal

import numpy as np
from numpy.typing import NDArray

from wattproof.errors import FilmError

Pixels = NDArray[np.uint8]
FilmFormat = Literal["mov", "webm"]

_COLOURS = ("-color_primaries", "bt709", "-color_trc", "bt709", "-colorspace", "bt709", "-color_range", "tv")
_CODECS = {
    "mov": ("-c:v", "prores_aw", "-profile:v", "4", "-pix_fmt", "yuva444p10le", "-f", "mov"),
    # one quality holds for colour and alpha alike: chosen for the plates' edges, which alpha alone draws
    "webm": (
        *("-c:v", "libvpx-vp9", "-pix_fmt", "yuva420p", "-crf", "8", "-b:v", "0", "-deadline", "realtime"),
        *("-cpu-used", "8", "-row-mt", "1", "-tile-columns", "1", "-threads", "2", "-auto-alt-ref", "0", "-f", "webm"),
    ),
}


@dataclass(frozen=True, kw_only=True)
class FilmShape:
    """How a clip is made.

    Attributes
    ----------
    format : {"mov", "webm"}
        ProRes 4444 or VP9; both keep straight (not multiplied) alpha.
    width_px, height_px : int
        Even numbers.
    rate : Fraction, frames a second
    timecode : str
        Of the first frame, kept in a mov; empty for none.
    """

    format: FilmFormat
    width_px: int
    height_px: int
    rate: Fraction
    timecode: str = ""


_PIPE_BYTES = 1 << 20
"""A frame goes through in few pieces, where the system allows it."""


def encoder() -> str:
    """Give the encoder's program.

    Raises
    ------
    FilmError
        There is none on this machine.
    """
    try:
        from imageio_ffmpeg import get_ffmpeg_exe

        return str(get_ffmpeg_exe())
    except (ImportError, RuntimeError, OSError) as error:
        raise FilmError(
            "There is no encoder for clips on this machine.",
            why=str(error).splitlines()[0] if str(error) else type(error).__name__,
            hint="Install imageio-ffmpeg again (it brings one), or write pictures instead with --frames FOLDER.",
        ) from error


def write_film(frames: Iterable[Pixels], *, to: Path, shape: FilmShape) -> None:
    """Encode frames into a file; where that fails or is broken off, the file is left for the caller to take away.

    Parameters
    ----------
    frames : iterable of Pixels of shape (height, width, 4)
        RGBA, straight alpha; each is used before the next is asked for.
    to : Path
        File to write; what is there is written over.
    shape : FilmShape

    Raises
    ------
    FilmError
        No encoder, a full disk, or the encoder stops by itself.
    """
    with tempfile.TemporaryFile() as said:
        process = _started(_command(encoder(), to, shape), said)
        if process.stdin is None:
            raise FilmError("The encoder takes no frames.", why="its input is closed", hint="Try again.")
        try:
            _feed(process.stdin, frames)
            process.wait()
        except BaseException:  # what is broken off must not be finished by the encoder: it is no clip
            process.kill()
            raise
        finally:
            if process.poll() is None:
                process.kill()
                process.wait()
        if process.returncode != 0:
            said.seek(0)
            raise _stopped(said.read().decode("utf-8", "replace"), process.returncode)


def _started(command: list[str], said: IO[bytes]) -> "subprocess.Popen[bytes]":
    try:
        # in a session of its own: Ctrl-C is ours to handle, and the encoder is told by its pipe and its end
        return subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=said, stderr=said, start_new_session=True, pipesize=_PIPE_BYTES
        )
    except OSError as error:
        raise FilmError(
            "The encoder cannot be started.",
            why=f"{command[0]}: {error.strerror or error}",
            hint="Install imageio-ffmpeg again (it brings one), or write pictures instead with --frames FOLDER.",
        ) from error


def _feed(pipe: IO[bytes], frames: Iterable[Pixels]) -> None:
    try:
        for frame in frames:
            try:
                pipe.write(frame.data.cast("B"))
            except OSError:  # the encoder has gone: its own words say why
                break
    finally:
        with suppress(OSError):
            pipe.close()


def _command(program: str, to: Path, shape: FilmShape) -> list[str]:
    rate = f"{shape.rate.numerator}/{shape.rate.denominator}"
    takes = ("-f", "rawvideo", "-pix_fmt", "rgba", "-s", f"{shape.width_px}x{shape.height_px}", "-r", rate, "-i", "-")
    # bit-exact: no date and no version in the file, so that equal frames give equal bytes
    plain = ("-map_metadata", "-1", "-fflags", "+bitexact", "-flags:v", "+bitexact")
    matrix = ("-vf", "scale=out_color_matrix=bt709:out_range=tv:flags=accurate_rnd")
    code = ("-timecode", shape.timecode) if shape.timecode and shape.format == "mov" else ()
    head = (program, "-y", "-nostdin", "-hide_banner", "-loglevel", "error")
    return [*head, *takes, *matrix, *_CODECS[shape.format], *_COLOURS, *plain, *code, str(to)]


def _stopped(said: str, status: int) -> FilmError:
    lines = [line for line in said.splitlines() if line.strip()]
    if any("No space left" in line for line in lines):
        return FilmError(
            "The disk is full; no clip was kept.",
            why="the encoder could write no more",
            hint="Make room, choose a shorter stretch with --from-s and --to-s, or the smaller --format webm.",
        )
    return FilmError(
        "The encoder stopped; no clip was kept.",
        why=lines[-1] if lines else f"it ended with status {status} and said nothing",
        hint="Check that the folder may be written, and try again; or write pictures with --frames FOLDER.",
    )


def write_picture(frame: Pixels) -> bytes:
    """Encode one frame of shape (height, width, 4) as a PNG."""
    from io import BytesIO

    from PIL import Image

    held = BytesIO()
    Image.fromarray(frame, "RGBA").save(held, "PNG", compress_level=1)
    return held.getvalue()
