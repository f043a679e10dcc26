"""Files that come over the network: kept in a folder of ours, under a name that can be no path."""

import re
import shutil
import unicodedata
from collections.abc import Sequence
from pathlib import Path
from typing import BinaryIO, Protocol

LONGEST_NAME = 80
_DEVICES = re.compile(r"(?i)(con|prn|aux|nul|com\d|lpt\d)(\..*)?")
_UNFIT = frozenset('<>:"|?*')
_INVISIBLE = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})
"""Kinds of characters that a name cannot show: controls, marks that turn the direction of writing, halves of pairs."""


class Upload(Protocol):
    """A file as a form brings it."""

    @property
    def filename(self) -> str | None:
        """What its sender calls it."""

    @property
    def file(self) -> BinaryIO:
        """Its bytes."""


def safe_name(said: str | None) -> str:
    r"""Make a file name of what the sender calls a file.

    Only what comes after the last ``/`` or ``\`` counts; what cannot be seen, what some system takes for more than a
    letter, and dots in front are left out; the ending stays.

    Examples
    --------
    >>> safe_name("../../etc/passwd"), safe_name("C:\\temp\\nul.wav"), safe_name("ramp 4 ohm.wav"), safe_name("..")
    ('passwd', '_nul.wav', 'ramp 4 ohm.wav', 'file')
    """
    last = re.split(r"[/\\]", said or "")[-1]
    seen = "".join(one for one in last if unicodedata.category(one) not in _INVISIBLE and one not in _UNFIT)
    name = unicodedata.normalize("NFC", seen).strip(" .") or "file"
    stem, dot, ending = name.rpartition(".")
    if dot and len(ending) < 10:
        name = f"{_short(stem, LONGEST_NAME - len(ending) - 1)}.{ending}"
    name = _short(name, LONGEST_NAME)
    return f"_{name}" if _DEVICES.fullmatch(name) else name


def keep_uploads(folder: Path, uploads: Sequence[Upload]) -> list[Path]:
    """Write files into a folder, each into one of its own: two may bear the same name.

    Parameters
    ----------
    folder : Path
        A folder of ours.
    uploads : sequence of Upload

    Returns
    -------
    list of Path
        Where they are, in their order.
    """
    kept = []
    for number, upload in enumerate(uploads, start=1):
        place = folder / str(number)
        place.mkdir(parents=True)
        path = place / safe_name(upload.filename)
        with path.open("wb") as target:
            shutil.copyfileobj(upload.file, target, 1 << 20)
        kept.append(path)
    return kept


def _short(text: str, most_bytes: int) -> str:
    """Cut a name to so many bytes, at a character."""
    return text.encode()[:most_bytes].decode(errors="ignore").strip(" .") or "file"
