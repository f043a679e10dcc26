"""The print: a report's blocks set as a tagged PDF, for paper and for keeping."""

from concurrent.futures import ThreadPoolExecutor
from importlib.resources import files
from json import dumps
from pathlib import Path
from shutil import copyfile
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any, Literal

from wattproof.publish.document import Chart, Document, Scale, Strip
from wattproof.publish.print_data import Laid
from wattproof.publish.scale_svg import scale_svg, strip_svg
from wattproof.report import draw_svg, font_folder

if TYPE_CHECKING:
    from typst import Fonts

_FACES = ("Regular", "It", "Semibold", "Bold")
_DRAWING_PX = 780
"""As wide as the text at the scale at which all drawings are printed."""

_NO_SUCH_LETTER = "could not be displayed with font"
_DRAWERS = 2
"""The drawing engine gains by a second caller and by no third."""


def document_pdf(document: Document) -> bytes:
    """Set a report for print.

    Every word of the document reaches the typesetter as data, so that none is taken for a command. A link whose place
    is not in the document is set as plain words.

    Parameters
    ----------
    document : Document

    Returns
    -------
    bytes
        A PDF of A4 pages, tagged to PDF/UA-1; the same document gives the same bytes. Letters that the house's font
        lacks are taken from the machine's; where that has none either, they stay empty boxes and the file makes no
        claim to PDF/UA.
    """
    (pdf,) = _set(document, "pdf", dots_per_inch=None)
    return pdf


def document_pages(document: Document, *, dots_per_inch: float = 110.0) -> list[bytes]:
    """Set a report as `document_pdf` does, and give each page as a PNG, to be looked over.

    Letters that the house's font lacks stay empty boxes here.

    Parameters
    ----------
    document : Document
    dots_per_inch : float

    Returns
    -------
    list of bytes
    """
    return _set(document, "png", dots_per_inch=dots_per_inch)


def _set(document: Document, face: Literal["pdf", "png"], *, dots_per_inch: float | None) -> list[bytes]:
    import typst

    laid = Laid(document, drawings=_drawings(document))
    with TemporaryDirectory() as name:
        folder = Path(name)
        for file, content in laid.files.items():
            (folder / file).write_bytes(content)
        (folder / "data.json").write_text(dumps(laid.data), encoding="utf-8")
        report = folder / "report.typ"
        report.write_bytes((files("wattproof.publish") / "templates" / "report.typ").read_bytes())
        choices = _choices_of_fonts(folder / "fonts")
        for fonts in choices:
            try:
                return _compiled(report, face, fonts, standards=["ua-1"], dots_per_inch=dots_per_inch)
            except typst.TypstError as error:
                if _NO_SUCH_LETTER not in error.message:
                    raise
        return _compiled(report, face, choices[-1], standards=[], dots_per_inch=dots_per_inch)


def _compiled(
    report: Path,
    face: Literal["pdf", "png"],
    fonts: "Fonts",
    *,
    standards: list[Literal["ua-1"]],
    dots_per_inch: float | None,
) -> list[bytes]:
    import typst

    how: Any = {"format": face, "font_paths": fonts, "ppi": dots_per_inch, "pdf_standards": standards}
    given: Any = typst.compile(report, root=report.parent, **how)
    return [given] if isinstance(given, bytes) else list(given)


def _choices_of_fonts(folder: Path) -> "list[Fonts]":
    """Give the house's font alone, then with the machine's; the second only, where the house's is not installed.

    Its files are copied to a folder of their own: the package holds each face in two formats, and which of the two is
    met first differs from machine to machine.
    """
    from typst import Fonts

    found = font_folder()
    folder.mkdir()
    if found is None:
        return [Fonts(include_system_fonts=True, font_paths=[folder])]
    for name in (f"SourceSansPro-{face}.ttf" for face in _FACES):
        copyfile(found / name, folder / name)
    machine = Fonts(include_system_fonts=True, font_paths=[folder])
    return [Fonts(include_system_fonts=False, font_paths=[folder]), machine]


def _drawings(document: Document) -> dict[int, str]:
    """Draw every chart, scale and strip, by its block's id."""
    blocks = [block for section in document.sections for block in section.blocks]
    drawn = [block for block in blocks if isinstance(block, Chart | Scale | Strip)]
    with ThreadPoolExecutor(_DRAWERS) as drawers:
        return dict(zip(map(id, drawn), drawers.map(_drawing, drawn), strict=True))


def _drawing(block: Chart | Scale | Strip) -> str:
    if isinstance(block, Chart):
        return draw_svg(block.wide)
    if isinstance(block, Scale):
        return scale_svg(block, width_px=_DRAWING_PX)
    return strip_svg(block, width_px=_DRAWING_PX)
