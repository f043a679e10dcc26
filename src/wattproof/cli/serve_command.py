"""`serve`: the workbench, until Ctrl-C."""

import webbrowser
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from wattproof.web import Served


def serve(*, archive: Path | None = None, port: int | None = None, lan: bool = False, no_browser: bool = False) -> None:
    """Open the workbench: the whole job as pages in the browser of this machine, and a running bench live.

    It answers this machine alone. A run that was begun from its pages goes on in a process of its own when it ends.

    Parameters
    ----------
    archive
        Folder of the archive; $WATTPROOF_ARCHIVE or ~/wattproof-archive when left out.
    port
        Where to listen; 8412 when left out, or any that is free where that is taken.
    lan
        Also answer the other machines of this network, such as the telephone on the bench, once they have said the
        code that is shown here. What they send is not encrypted: only in a network that is yours.
    no_browser
        Only show the address.
    """
    from wattproof.web import serve as serve_pages

    def told(served: "Served") -> None:
        print("The workbench is at " + "\n                or ".join(served.addresses))
        if served.pairing_code is not None:
            print(f"Another machine asks for this code: {served.pairing_code}")
        print("Ctrl-C ends it; a run that is going on is not ended.")
        if not no_browser:
            webbrowser.open(served.addresses[0])

    serve_pages(archive=archive, port=port, lan=lan, tell=told)
