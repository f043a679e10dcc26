"""The words file: what the person says beside the figures, and which photographs they add."""

from collections.abc import Iterator, Mapping
from typing import Any

from pydantic import Field

from wattproof.settings import Clash, Part, Words, parse_settings


class PhotoSaid(Part):
    """One photograph, `[[photos]]`."""

    file: Words = Field(description="picture file beside this one: JPEG or PNG", examples=["board-top.jpg"])
    caption: str = Field(default="", description="what it shows", examples=["Board from above, lid off"])


class Remarks(Part):
    """What a person says beside the figures, from `words.toml`: opinion, and kept apart as such."""

    summary: str = Field(default="", description="in a sentence or two", examples=["Small, and runs cool."])
    pros: tuple[Words, ...] = Field(default=(), description="what they like", examples=[["terminals take 21 mm²"]])
    cons: tuple[Words, ...] = Field(default=(), description="what they do not", examples=[["fan is loud"]])
    photos: tuple[PhotoSaid, ...] = Field(default=(), description="photographs, in the order shown")


def parse_remarks(text: str, *, file: str) -> Remarks:
    r"""Read the text of a `words.toml`.

    Parameters
    ----------
    text : str
        Content of the file.
    file : str
        Its name, for messages.

    Raises
    ------
    SettingsError
        A wrong key or type, a photograph named twice, or no TOML: each with its line, all at once.

    Examples
    --------
    >>> parse_remarks('pros = ["runs cool"]', file="words.toml").pros
    ('runs cool',)
    """
    return parse_settings(text, Remarks, file=file, clashes=_photos_twice)


def _photos_twice(data: Mapping[str, Any]) -> Iterator[Clash]:
    photos = data.get("photos")
    if not isinstance(photos, list):
        return
    names = [photo.get("file") if isinstance(photo, dict) else None for photo in photos]
    for number, name in enumerate(names):
        if isinstance(name, str) and name in names[:number]:
            yield Clash(("photos", number, "file"), f'photo "{name}" is named twice', "show it once")
