"""What pages wear, so that they match the reports: the charts' colours as a style sheet, their library, the font."""

import hashlib
from functools import cached_property
from importlib.util import find_spec
from pathlib import Path

from wattproof import __version__


class Looks:
    """Gives what a page needs to look like a report."""

    @cached_property
    def version(self) -> str:
        """Tell this version's files from another's: part of their addresses."""
        folder = Path(__file__).parents[1] / "web" / "static"
        digest = hashlib.sha256(__version__.encode())
        for path in (*sorted(folder.glob("*")), folder.parents[1] / "publish" / "templates" / "report.js"):
            digest.update(path.read_bytes())
        return digest.hexdigest()[:10]

    def typeset(self, text: str) -> str:
        """Set minus signs and ranges as print does, and keep a number with its unit on one line."""
        from wattproof.report import typeset

        return typeset(str(text))

    def made(self, name: str) -> tuple[bytes, str] | None:
        """Give a made file's bytes and its kind; None of a name that is no made file."""
        match name:
            case "colours.css":
                return self._colours.encode(), "text/css"
            case "charts.js":
                return self._charts, "text/javascript"
            case "report.js":
                from wattproof.publish import report_script

                return report_script().encode(), "text/javascript"
            case "font.ttf" | "font-semibold.ttf":
                font = self._font("Semibold" if "semibold" in name else "Regular")
                return None if font is None else (font, "font/ttf")
        return None

    @cached_property
    def _colours(self) -> str:
        from wattproof.report import GRID, INK, LIMIT, PAPER, SERIES, SOFT, dark_rules

        names = {"paper": PAPER, "ink": INK, "soft": SOFT, "grid": GRID, "line": LIMIT}
        names |= {f"series-{n}": shade for n, shade in enumerate(SERIES, start=1)}
        light = "".join(f"--{name}:{shade.light};" for name, shade in names.items())
        dark = "".join(f"--{name}:{shade.dark};" for name, shade in names.items())
        return f":root{{{light}}}\n@media (prefers-color-scheme: dark){{:root{{{dark}}}\n{dark_rules('.chart')}\n}}"

    @cached_property
    def _charts(self) -> bytes:
        import vl_convert

        bundle: str = vl_convert.javascript_bundle(vl_version="6.4")  # type: ignore[call-arg]  # the stub asks for more than the code
        return f"(()=>{{{bundle}}})()".encode()  # alone it would fill the page's names with hundreds of short ones

    def _font(self, weight: str) -> bytes | None:
        found = find_spec("font_source_sans_pro")
        for folder in (found.submodule_search_locations or ()) if found else ():
            for path in sorted(Path(folder, "files").glob(f"*-{weight}.ttf")):
                return path.read_bytes()
        return None
