"""Styles and scripts: our own files, and what is made of the palette and the chart library; named by their content."""

from pathlib import Path

from starlette.responses import Response
from starlette.staticfiles import StaticFiles
from starlette.types import Receive, Scope, Send

from wattproof.tasks import Looks

FOR_A_YEAR = "public, max-age=31536000, immutable"


class Assets:
    """Serves ``static/`` and beside it what is made: ``colours.css``, ``charts.js``, ``font.ttf``.

    An address carries the content's fingerprint (``?v=``), so that a browser may keep it for ever.
    """

    def __init__(self, folder: Path, looks: Looks) -> None:
        self._files, self._looks = StaticFiles(directory=folder), looks

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer with a file."""
        name = scope["path"].rpartition("/static/")[2]
        made = self._looks.made(name)
        if made is None:
            await self._files(scope, receive, send)
            return
        content, kind = made
        await Response(content, media_type=kind, headers={"cache-control": FOR_A_YEAR})(scope, receive, send)
