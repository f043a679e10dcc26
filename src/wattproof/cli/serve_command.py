"""`serve`: the workbench, until Ctrl-C."""

import sys
import threading
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
        Only show the address; so it is where nobody sits at a terminal.
    """
    from wattproof.web import serve as serve_pages

    def told(served: "Served") -> None:
        print("The workbench is at " + "\n                or ".join(served.addresses))
        if served.pairing_code is not None:
            print(f"Another machine asks for this code: {served.pairing_code}")
        print(f"Scripts find their token in {served.token_file}")
        print("Ctrl-C ends it; a run that is going on is not ended.", flush=True)
        if not no_browser and sys.stdout.isatty():
            # beside us: a browser for the terminal would keep us from answering it
            threading.Thread(target=webbrowser.open, args=(served.addresses[0],), daemon=True).start()

    serve_pages(archive=archive, port=port, lan=lan, tell=told)
