"""A picture as a PDF: one page of its size, letters as letters, the same bytes each time."""

from pathlib import Path
from shutil import copyfile
from tempfile import TemporaryDirectory
from typing import Any
from xml.etree import ElementTree

from wattproof.publish.picture_type import font_files

_PAGE = """\
#set document(title: sys.inputs.title, date: none)
#set page(width: float(sys.inputs.width) * 1pt, height: float(sys.inputs.height) * 1pt, margin: 0pt, fill: none)
#image(bytes(sys.inputs.svg), format: "svg", width: 100%, height: 100%, alt: sys.inputs.title)
"""


def picture_pdf(svg: str) -> bytes:
    """Set a drawn picture on a page of its own; a pixel becomes a point.

    Parameters
    ----------
    svg : str
        With its size, and a title that is told to who cannot see it.

    Returns
    -------
    bytes
    """
    import typst

    root = ElementTree.fromstring(svg)  # drawn by this room
    said = {
        "svg": svg,
        "title": str(root.findtext("{*}title")),
        "width": str(root.get("width")),
        "height": str(root.get("height")),
    }
    with TemporaryDirectory() as folder:
        # the font's package holds each face in two formats: which of them is met first differs between machines
        for file in font_files():
            copyfile(file, Path(folder) / file.name)
        fonts = typst.Fonts(include_system_fonts=True, font_paths=[folder])
        given: Any = typst.compile(_PAGE.encode(), format="pdf", font_paths=fonts, sys_inputs=said)
    return bytes(given)
