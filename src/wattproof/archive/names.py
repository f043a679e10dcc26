"""Names that people choose, made safe as names of files and folders on any system."""

import re
import unicodedata
from pathlib import PurePath

_RESERVED = frozenset({"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(1, 10))})
"""Device names that Windows refuses as file names, whatever follows the first dot."""

_NUMBERED = re.compile(r"(\d{2,6})-[a-z0-9-]+")
_SUFFIX = re.compile(r"\.[a-z0-9]{1,12}")

PART = ".part-"
"""How the name of everything half-written begins: it is never read, and swept away once it is old."""


TAKE = ".take-"
"""How the folder of a take begins while it is recorded: it is no capture yet, and is never swept away."""


def slug(text: str, *, fallback: str, longest: int = 40) -> str:
    """Write a name in small ASCII letters, digits and single hyphens.

    Accents are dropped and other scripts left out: a folder must survive a copy to any file system, and the full
    name stands in the session's own file anyway.

    Parameters
    ----------
    text : str
        What a person called the thing; anything at all.
    fallback : str
        What to use where nothing is left of it; itself a slug.
    longest : int >= 1
        Most characters to keep.

    Examples
    --------
    >>> slug("Bittern 1 (Mk. II)", fallback="amplifier")
    'bittern-1-mk-ii'
    >>> slug("../../étoile", fallback="amplifier"), slug("выпь", fallback="amplifier"), slug("CON", fallback="x")
    ('etoile', 'amplifier', 'the-con')
    """
    plain = unicodedata.normalize("NFKD", text.casefold()).encode("ascii", "ignore").decode("ascii").lower()
    kept = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:longest].strip("-")
    if kept in _RESERVED:
        return f"the-{kept}"
    return kept or fallback


def original_name(file_name: str) -> str:
    """Name under which an imported file is kept: ``original`` and its suffix, where that is a plain one.

    Examples
    --------
    >>> original_name("Ramp 4 ohm.WAV"), original_name("capture"), original_name("odd.x y")
    ('original.wav', 'original', 'original')
    """
    suffix = PurePath(file_name).suffix.lower()
    return f"original{suffix}" if _SUFFIX.fullmatch(suffix) else "original"


def capture_folder(number: int, name: str) -> str:
    """Folder name of a capture: its number in two or more digits, and a slug."""
    return f"{number:02d}-{slug(name, fallback='capture')}"


def capture_number(folder_name: str) -> int | None:
    """Read the number back from a capture's folder name; None where it is not the name of a capture."""
    match = _NUMBERED.fullmatch(folder_name)
    return int(match[1]) if match else None


def storable(text: str) -> str:
    """Make text fit for UTF-8: bytes of a file name that no encoding explains become question marks."""
    return text.encode("utf-8", "replace").decode("utf-8")
