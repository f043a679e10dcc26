"""What a workbench is told when it starts."""

from dataclasses import dataclass, field
from pathlib import Path

MEGABYTE = 1_000_000


@dataclass(frozen=True, kw_only=True)
class WebSettings:
    """How the workbench is served.

    Attributes
    ----------
    archive : Path
        Folder of the archive it works on.
    secret : bytes
        Signs cookies and form tokens; kept with the archive, so that a restart makes nobody's page stale.
    hosts : frozenset of str
        Values of the Host header that are answered, with the port: anything else is another site's name for us.
    pairing_code : str or None
        What a browser must say first; None on loopback.
    most_body_bytes : int
        Largest request.
    most_files : int
        Most files in one request.
    """

    archive: Path
    secret: bytes = field(repr=False)
    hosts: frozenset[str]
    pairing_code: str | None = field(default=None, repr=False)
    most_body_bytes: int = 4_000 * MEGABYTE
    most_files: int = 200
