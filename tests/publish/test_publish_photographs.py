"""Photographs: nothing of place, time and camera is left, they stand upright, and bombs are refused kindly."""

import io
import struct
import zlib

import pytest
from PIL import Image

from wattproof.errors import BrokenFileError, UnknownFormatError
from wattproof.publish import cleaned_photo, photo_kept

PLACE = b"52.3702"
SECRETS = (b"Exif", b"GPS", PLACE, b"Lens of the boathouse", b"2031:05:14", b"photoshop", b"ICC_PROFILE")


def photo(width_px=300, height_px=200, *, orientation=1, mode="RGB"):
    """A picture, red left of the middle and blue right of it, with all that a telephone notes."""
    image = Image.new(mode, (width_px, height_px), "blue")
    image.paste("red", (0, 0, width_px // 2, height_px))
    exif = Image.Exif()
    exif[0x0112] = orientation
    exif[0x010F] = "Lens of the boathouse"
    exif[0x0132] = "2031:05:14 12:00:00"
    exif.get_ifd(0x8825)[1] = "N"
    exif.get_ifd(0x8825)[2] = (52.0, 22.0, 12.72)
    exif.get_ifd(0x8825)[29] = PLACE.decode()
    out = io.BytesIO()
    image.save(out, "JPEG", exif=exif, comment=b"GPS of the boathouse", icc_profile=b"made-up profile")
    return out.getvalue()


def test_the_photograph_of_this_test_holds_what_must_go():
    given = photo()
    assert PLACE in given
    assert b"Lens of the boathouse" in given


def test_place_camera_and_time_are_gone():
    cleaned = cleaned_photo(photo(), name="board.jpg", caption="Board")
    assert not [secret for secret in SECRETS if secret in cleaned.jpeg]
    with Image.open(io.BytesIO(cleaned.jpeg)) as image:
        assert not image.getexif()
        assert set(image.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
        assert image.format == "JPEG"


@pytest.mark.parametrize(("orientation", "red_side"), [(1, "left"), (3, "right"), (6, "top"), (8, "bottom")])
def test_it_stands_upright(orientation, red_side):
    cleaned = cleaned_photo(photo(orientation=orientation), name="a.jpg")
    turned = red_side in {"top", "bottom"}
    assert (cleaned.width_px, cleaned.height_px) == ((200, 300) if turned else (300, 200))
    spots = {"left": (0.2, 0.5), "right": (0.8, 0.5), "top": (0.5, 0.2), "bottom": (0.5, 0.8)}
    with Image.open(io.BytesIO(cleaned.jpeg)) as image:
        red = {
            side
            for side, (across, down) in spots.items()
            if image.getpixel((int(across * image.width), int(down * image.height)))[0] > 200
        }
    assert red_side in red
    assert {"left": "right", "right": "left", "top": "bottom", "bottom": "top"}[red_side] not in red


def test_a_large_one_is_scaled_and_a_small_one_is_not():
    large = cleaned_photo(photo(4000, 1000), name="a.jpg")
    assert (large.width_px, large.height_px) == (1600, 400)
    small = cleaned_photo(photo(31, 17), name="a.jpg")
    assert (small.width_px, small.height_px) == (31, 17)


@pytest.mark.parametrize("mode", ["RGBA", "LA", "P", "L", "I;16", "1"])
def test_pictures_of_every_kind_of_point_become_plain_ones(mode):
    out = io.BytesIO()
    Image.new(mode, (20, 10)).save(out, "PNG")
    cleaned = cleaned_photo(out.getvalue(), name="a.png")
    with Image.open(io.BytesIO(cleaned.jpeg)) as image:
        assert (image.mode, image.size) == ("RGB", (20, 10))


def test_what_is_transparent_becomes_white():
    out = io.BytesIO()
    Image.new("RGBA", (20, 10), (0, 0, 0, 0)).save(out, "PNG")
    with Image.open(io.BytesIO(cleaned_photo(out.getvalue(), name="a.png").jpeg)) as image:
        assert image.getpixel((10, 5)) == (255, 255, 255)


def bomb(width_px, height_px):
    """A PNG of a few bytes that states a size."""
    head = struct.pack(">IIBBBBB", width_px, height_px, 8, 2, 0, 0, 0)
    chunks = [(b"IHDR", head), (b"IDAT", zlib.compress(b"\0" * 1000)), (b"IEND", b"")]
    body = b"".join(
        struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data)) for name, data in chunks
    )
    return b"\x89PNG\r\n\x1a\n" + body


@pytest.mark.parametrize("side_px", [9_000, 9_600, 40_000, 400_000])
def test_bombs_are_refused_before_they_go_off(side_px):
    with pytest.raises(BrokenFileError) as refused:
        cleaned_photo(bomb(side_px, side_px), name="a.png")
    assert refused.value.hint


def test_what_is_cut_off_is_told():
    with pytest.raises(BrokenFileError, match=r"board\.jpg"):
        cleaned_photo(photo(900, 900)[:-400], name="board.jpg")
    with pytest.raises(BrokenFileError):
        cleaned_photo(bomb(2000, 2000), name="a.png")


@pytest.mark.parametrize("data", [b"", b"no picture", b"GIF89a\x01\0\x01\0", b"<svg onload='x'/>", b"RIFF____WEBPVP8 "])
def test_what_is_no_photograph_is_told(data):
    with pytest.raises(UnknownFormatError, match=r"words\.docx"):
        cleaned_photo(data, name="words.docx")


def test_a_kept_one_is_the_same_again():
    cleaned = cleaned_photo(photo(), name="a.jpg", caption="Board")
    assert photo_kept(cleaned.jpeg, name="a.jpg", caption="Board") == cleaned
    assert cleaned_photo(photo(), name="a.jpg", caption="Board") == cleaned
