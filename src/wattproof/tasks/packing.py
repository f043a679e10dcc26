"""`pack`: a session as one file that anyone can check."""

import json
import platform
from collections.abc import Callable
from importlib.metadata import version
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from wattproof import __version__
from wattproof.tasks.judging import judge
from wattproof.tasks.keys import Ask
from wattproof.tasks.sessions import session_figures

_COMPUTED_WITH = ("numpy", "scipy", "gtc", "soundfile", "pydantic")


class Packed(BaseModel):
    """What `wattproof pack` answers."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)

    wattproof: str = __version__
    schema_: Literal[1] = Field(default=1, alias="schema")
    session: str
    file: Path
    size_bytes: int
    files: int = Field(description="listed in the manifest")
    captures: int
    figures: int
    verdicts: int
    manifest_digest: str
    signed_by: str = Field(description="fingerprint of the key; empty: not signed")

    def text(self) -> str:
        """Write what became of the session."""
        from wattproof.report import packed_text

        return packed_text(**self.model_dump(include=_TOLD), file=str(self.file))

    def to_json(self) -> str:
        """Write the one object that `--json` prints."""
        return json.dumps(self.model_dump(mode="json", by_alias=True), indent=2, ensure_ascii=False)


_TOLD = {"session", "size_bytes", "files", "captures", "figures", "verdicts", "manifest_digest", "signed_by"}


def pack(
    session: str,
    *,
    out: Path | None = None,
    sign: Path | None = None,
    archive: Path | None = None,
    ask: Ask | None = None,
    tell: Callable[[str], None] | None = None,
) -> Packed:
    """Write a session as one evidence pack: captures, bench, ratings, figures and verdicts, with the hash of each.

    Parameters
    ----------
    session : str
        Name of the session, or a part of it that no other session has.
    out : Path or None
        File to write; NAME-OF-THE-SESSION.zip in this folder when left out.
    sign : Path or None
        Secret key to sign the manifest with, made by `wattproof key new`.
    archive : Path or None
        Folder of the archive.
    ask : callable or None
        Asks the person for the key's passphrase.
    tell : callable or None
        Gets a line before each capture that is measured.

    Raises
    ------
    ArchiveError
        There is no such session, or a part of it is not what its hash says.
    PackError
        Another file of that name is there already, or the system refuses.
    KeyFileError
        The key cannot be used.
    """
    from wattproof.archive import Archive, default_root, read_signing_key, write_pack

    key = None if sign is None else read_signing_key(sign, ask=ask)
    store = Archive(archive or default_root())
    found = store.open_session(session)
    measured = session_figures(str(found.folder), archive=archive, tell=tell)
    judged = judge(str(found.folder), archive=archive, tell=tell)
    if tell is not None:
        tell("packing ...")
    written = write_pack(found, out or Path(f"{found.record.id}.zip"), versions=computed_with(), key=key)
    return Packed(
        session=found.id,
        file=written.path,
        size_bytes=written.size_bytes,
        files=len(written.manifest.files),
        captures=len(store.captures(found)),
        figures=sum(len(result.figures) for result in measured.captures),
        verdicts=len(judged.judged.judgements),
        manifest_digest=written.manifest.digest,
        signed_by=written.signed_by,
    )


def computed_with() -> dict[str, str]:
    """Give the versions of what figures are computed with here."""
    return {"python": platform.python_version(), **{name: version(name) for name in _COMPUTED_WITH}}
