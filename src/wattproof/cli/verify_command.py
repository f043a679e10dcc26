"""The command that checks an evidence pack."""

import sys
from pathlib import Path

from wattproof import tasks
from wattproof.cli.show import progress

NOT_REPRODUCED = 4
"""Exit status for a pack that could be opened, but is not as it was packed or gives other figures."""


def verify(pack: Path, /, *, key: str | None = None, json: bool = False) -> None:
    """Check an evidence pack: hashes and signature, then every figure and verdict against what is measured again.

    Leaves with exit status 0 where all is reproduced, 4 where it is not, 2 where the pack cannot be opened.

    Parameters
    ----------
    pack
        The pack: a ZIP that `wattproof pack` wrote.
    key
        The tester's public key: its .pub file, or its fingerprint.
    json
        Print one JSON object instead.
    """
    found = tasks.verify(pack, key=key, tell=progress())
    print(found.to_json() if json else found.text())
    if not found.reproduced:
        sys.stdout.flush()
        sys.exit(NOT_REPRODUCED)
