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
        Largest request with files.
    most_text_bytes : int
        Largest request without files: it is held in memory.
    most_stranger_bytes : int
        Largest request of a browser that is not paired.
    most_files : int
        Most files in one request.
    longest_silence_s : float
        A request of which nothing comes for so long is ended, seconds.
    """

    archive: Path
    secret: bytes = field(repr=False)
    hosts: frozenset[str]
    pairing_code: str | None = field(default=None, repr=False)
    most_body_bytes: int = 4_000 * MEGABYTE
    most_text_bytes: int = 20 * MEGABYTE
    most_stranger_bytes: int = 64_000
    most_files: int = 200
    longest_silence_s: float = 30.0
