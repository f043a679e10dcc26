"""What the workbench needs of an archive beside the tasks: its place, its secret, who is running."""

import secrets
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from wattproof.archive import Archive, WindowAddress


class Workbench:
    """An archive as the workbench holds it.

    Parameters
    ----------
    archive : Path or None
        Its folder; the usual one when left out.
    """

    def __init__(self, archive: Path | None = None) -> None:
        from wattproof.archive import default_root

        self.archive = archive or default_root()

    def secret(self) -> bytes:
        """Give the archive's secret, which signs the workbench's cookies; made when first asked for."""
        return self._store.workbench_secret(secrets.token_bytes(32))

    def running(self) -> "tuple[WindowAddress, ...]":
        """Give where runs that are going on can be watched."""
        return self._store.windows()

    @cached_property
    def _store(self) -> "Archive":
        from wattproof.archive import Archive

        return Archive(self.archive)
