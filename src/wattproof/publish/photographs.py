"""Photographs made fit for strangers: upright, scaled, without a word of where and by what they were taken."""

from collections.abc import Iterator
from contextlib import contextmanager
from io import BytesIO
from typing import TYPE_CHECKING
from warnings import catch_warnings, simplefilter

from wattproof.errors import BrokenFileError, UnknownFormatError
from wattproof.publish.document import Photo

if TYPE_CHECKING:
    from PIL.Image import Image

LONGEST_PX = 1600
MOST_PX = 80_000_000
"""Pixels of the largest photograph that is opened: more would fill the memory of a small computer."""
MOST_BYTES = 60_000_000
_QUALITY = 85
_HINT = "Give a photograph as a JPEG or PNG file."


def cleaned_photo(data: bytes, *, name: str, caption: str = "") -> Photo:
    """Make a photograph fit to be shown: upright, at most 1600 px long, without the camera's notes.

    Only the picture's points are taken over into a new file: date, place, camera and thumbnail stay behind.

    Parameters
    ----------
    data : bytes
        A JPEG or PNG file.
    name, caption : str
        What it is called, and what it shows.

    Raises
    ------
    UnknownFormatError
        It is no JPEG or PNG file.
    BrokenFileError
        It is one, but cut off or damaged, or it is far larger than any photograph.
    """
    from PIL import Image, ImageOps, UnidentifiedImageError

    if len(data) > MOST_BYTES:
        raise _too_large(name, f"it has {len(data) / 1e6:.0f} MB, and up to {MOST_BYTES / 1e6:.0f} MB are opened")
    try:
        with _opened(data, name) as opened:
            upright = ImageOps.exif_transpose(opened)
            upright.thumbnail((LONGEST_PX, LONGEST_PX), Image.Resampling.LANCZOS)
            plain = _on_white(upright)
    except UnidentifiedImageError as error:
        raise UnknownFormatError(
            f"{name} is no photograph that can be shown.", why="its bytes are neither JPEG nor PNG", hint=_HINT
        ) from error
    except (OSError, SyntaxError, ValueError, EOFError, IndexError) as error:
        raise BrokenFileError(f"{name} is damaged.", why=str(error) or "it breaks off", hint=_HINT) from error
    written = BytesIO()
    plain.save(written, "JPEG", quality=_QUALITY, optimize=True)
    return Photo(name=name, caption=caption, jpeg=written.getvalue(), width_px=plain.width, height_px=plain.height)


@contextmanager
def _opened(data: bytes, name: str) -> Iterator["Image"]:
    """Open a picture by its head alone, and refuse one whose points would fill the memory."""
    from PIL import Image

    with catch_warnings():
        simplefilter("error", Image.DecompressionBombWarning)
        try:
            opened = Image.open(BytesIO(data), formats=("JPEG", "PNG"))
        except (Image.DecompressionBombWarning, Image.DecompressionBombError) as error:
            raise _too_large(name, f"it states more than {MOST_PX / 1e6:g} million pixels") from error
    with opened:
        width, height = opened.size
        if width * height > MOST_PX:
            raise _too_large(name, f"it states {width} × {height} px; up to {MOST_PX / 1e6:g} million are opened")
        yield opened


def photo_kept(jpeg: bytes, *, name: str, caption: str) -> Photo:
    """Take a photograph that was cleaned before."""
    from PIL import Image

    with Image.open(BytesIO(jpeg), formats=("JPEG",)) as opened:
        width, height = opened.size
    return Photo(name=name, caption=caption, jpeg=jpeg, width_px=width, height_px=height)


def _on_white(image: "Image") -> "Image":
    """Give the points alone, on white where they are transparent."""
    from PIL import Image

    ground = Image.new("RGB", image.size, "white")
    layer = image.convert("RGBA") if image.has_transparency_data else image.convert("RGB")
    ground.paste(layer, mask=layer.getchannel("A") if layer.mode == "RGBA" else None)
    return ground


def _too_large(name: str, why: str) -> BrokenFileError:
    return BrokenFileError(f"{name} is too large to be a photograph.", why=why, hint="Scale it down first.")
