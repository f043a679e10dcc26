"""Which names a pack may hold: a short grammar of plain ASCII names; all else is refused, each trick by its name."""

import re
import unicodedata
from collections.abc import Iterable
from pathlib import PurePosixPath

from wattproof.archive.pack_model import HOME, MANIFEST, README, SIGNATURE
from wattproof.errors import PackError

LONGEST = 160
AS_PUBLISHED = (
    "Ask whoever published it for the pack as `wattproof pack` wrote it; do not unpack this one by other means."
)

_SESSION = re.compile(
    r"(?:session|figures|verdicts|model|run-sheet|answers)\.json|journal\.jsonl|(?:amplifier|bench)\.toml"
    r"|captures/\d{2,6}-[a-z0-9-]+/(?:capture\.json|original(?:\.[a-z0-9]{1,12})?)"
    r"|history/\d{8}T\d{6}\.\d{6}Z-[a-z]+-[0-9a-f]{6}\.json"
    r"|trips/\d{2,6}-[a-z0-9-]+/(?:(?:trip|cleared)\.json|samples\.(?:flac|wav))"
    r"|remarks/\d{4,9}/(?:words\.toml|remarks\.json|photo-\d{2,9}\.jpg)"
)
_DEFLATED = frozenset({".json", ".jsonl", ".toml", ".csv", ".tsv", ".txt"})
_DRIVE = re.compile(r"[A-Za-z]:")


def belongs(path: str) -> bool:
    """Tell whether a path relative to a session's folder is part of its evidence."""
    return len(HOME) + len(path) <= LONGEST and _SESSION.fullmatch(path) is not None


def is_deflated(name: str) -> bool:
    """Tell whether a file is deflated in a pack: text is, audio, arrays and pictures are stored as they are."""
    return PurePosixPath(name).suffix.lower() in _DEFLATED


def in_order(names: Iterable[str]) -> list[str]:
    """Sort names as a pack holds them: what tells of the pack first, then the session's files."""
    first = (MANIFEST, SIGNATURE, README)
    return sorted(names, key=lambda name: (first.index(name) if name in first else len(first), name))


def check_names(names: Iterable[str]) -> None:
    """Refuse a list of names that could write outside a folder, over each other, or is of no pack.

    Raises
    ------
    PackError
        One of them could, or is no name of a pack.
    """
    seen: dict[str, str] = {}
    for name in names:
        trick = _trick(name)
        if trick:
            raise PackError(f"The pack holds a file named {shown(name)}.", why=trick, hint=AS_PUBLISHED)
        same = unicodedata.normalize("NFKC", name).casefold()
        if same in seen:
            why = f"{shown(seen[same])} and {shown(name)} are one file on many systems, so one would hide the other"
            raise PackError("The pack holds the same name twice.", why=why, hint=AS_PUBLISHED)
        seen[same] = name
    strange = [name for name in seen.values() if not _known(name)]
    if strange:
        raise PackError(
            f"The pack holds {shown(strange[0])}, which is no part of a pack.",
            why=f"{len(strange)} of its {len(seen)} names are none that `wattproof pack` writes",
            hint=AS_PUBLISHED,
        )


def _trick(name: str) -> str:
    if not name or len(name) > LONGEST:
        return f"it has {len(name)} characters; a name in a pack has 1 to {LONGEST}"
    for tells, why in _TRICKS:
        if tells(name):
            return why
    return ""


_TRICKS = (
    (
        lambda name: any(unicodedata.category(letter)[0] in "CZ" and letter != " " for letter in name),
        "it holds a control character or an invisible one, which can hide what the name is",
    ),
    (lambda name: "\\" in name, "it holds a backslash, which parts folders on some systems"),
    (lambda name: _DRIVE.match(name) is not None, "it names a drive, so it would be written outside its folder"),
    (lambda name: name.startswith("/"), "it is an absolute path, so it would be written outside its folder"),
    (
        lambda name: ".." in name.split("/"),
        "it leads out of its folder by .., so it would be written somewhere else",
    ),
    (lambda name: name.endswith("/"), "it is a folder; a pack holds files alone"),
    (lambda name: not {"", "."}.isdisjoint(name.split("/")), "it has an empty part, or one that is only a dot"),
)


def _known(name: str) -> bool:
    if name in {MANIFEST, SIGNATURE, README}:
        return True
    return name.startswith(HOME) and belongs(name.removeprefix(HOME))


def shown(text: str, *, most: int = 80) -> str:
    r"""Write what a stranger named so that no terminal obeys it: unusual characters spelled out, cut where too long.

    Examples
    --------
    >>> shown("../x"), shown("a\x1b[2Jb")
    ('"../x"', '"a\\x1b[2Jb"')
    """
    plain = text.encode("unicode_escape").decode("ascii")
    return f'"{plain[:most]}..."' if len(plain) > most else f'"{plain}"'
