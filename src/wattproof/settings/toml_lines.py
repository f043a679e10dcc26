"""On which line of a TOML text each key stands; the standard library's reader does not tell."""

import re
import tomllib
from bisect import bisect_right

from wattproof.errors import InternalFaultError

Path = tuple[str | int, ...]

_GAP = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_DOT = re.compile(r"[ \t]*\.[ \t]*")
_EQUALS = re.compile(r"[ \t]*=[ \t]*")
_KEY = re.compile(r"""("(?:\\.|[^"\\\n])*"|'[^'\n]*')|[A-Za-z0-9_-]+""")
# A long string ends at its first three quotes, but one or two more right behind them still belong to it.
_STRING = re.compile(
    r'"{3}(?:\\[\s\S]|[^\\])*?"{3}"{0,2}' r"|'{3}[\s\S]*?'{3}'{0,2}" r'|"(?:\\.|[^"\\\n])*"' r"|'[^'\n]*'"
)
_PLAIN = re.compile(r"[^,\]}\n#]+")
_OPEN = re.compile(r"\[\[?[ \t]*")
_CLOSE = re.compile(r"[ \t]*\]\]?")


def key_lines(text: str) -> dict[Path, int]:
    r"""Find the line of every key, table and list item of a TOML text.

    Parameters
    ----------
    text : str
        TOML that the standard library reads without complaint.

    Returns
    -------
    dict of path to int
        Paths are those of the parsed data, such as ``("channels", 0, "scale")``; lines count from 1.

    Examples
    --------
    >>> key_lines('name = "Boathouse"\n[[loads]]\nname = "4 ohm"\n')
    {('name',): 1, ('loads',): 2, ('loads', 0): 2, ('loads', 0, 'name'): 3}
    """
    return _Scanner(text).run()


class _Scanner:
    """Walks the text once, from statement to statement, and never looks into a string or a comment."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.lines: dict[Path, int] = {}
        self.last_item: dict[Path, int] = {}
        self.line_ends = [match.start() for match in re.finditer("\n", text)]

    def run(self) -> dict[Path, int]:
        table: Path = ()
        self._take(_GAP)
        while self.at < len(self.text):
            if self.text[self.at] == "[":
                table = self._header()
            else:
                self._pair(table)
            self._take(_GAP)
        return self.lines

    def _take(self, pattern: re.Pattern[str]) -> str:
        match = pattern.match(self.text, self.at)
        if match is None:
            raise InternalFaultError(
                f"Lost the way in a TOML text on line {self._line()}.",
                why=f"The text was read without complaint, yet {self.text[self.at : self.at + 20]!r} was not expected.",
                hint="Please report it together with the file.",
            )
        self.at = match.end()
        return match.group()

    def _line(self) -> int:
        return bisect_right(self.line_ends, self.at - 1) + 1

    def _note(self, path: Path) -> None:
        self.lines.setdefault(path, self._line())

    def _header(self) -> Path:
        is_list = self._take(_OPEN).startswith("[[")
        *parents, last = self._dotted()
        path: Path = ()
        for key in parents:
            path = (*path, key)
            self._note(path)
            if path in self.last_item:
                path = (*path, self.last_item[path])
        path = (*path, last)
        self._note(path)
        if is_list:
            self.last_item[path] = self.last_item.get(path, -1) + 1
            path = (*path, self.last_item[path])
            self._note(path)
        self._take(_CLOSE)
        return path

    def _dotted(self) -> list[str]:
        keys = [self._key()]
        while _DOT.match(self.text, self.at):
            self._take(_DOT)
            keys.append(self._key())
        return keys

    def _key(self) -> str:
        raw = self._take(_KEY)
        return str(tomllib.loads(f"key = {raw}")["key"]) if raw[0] in "\"'" else raw

    def _pair(self, table: Path) -> None:
        path = table
        for key in self._dotted():
            path = (*path, key)
            self._note(path)
        self._take(_EQUALS)
        self._value(path)

    def _value(self, path: Path) -> None:
        opening = self.text[self.at]
        if opening in "\"'":
            self._take(_STRING)
        elif opening == "[":
            self._list(path)
        elif opening == "{":
            self._inline_table(path)
        else:
            self._take(_PLAIN)

    def _list(self, path: Path) -> None:
        self.at += 1
        item = 0
        while self._next_is_not("]"):
            self._note((*path, item))
            self._value((*path, item))
            item += 1
        self.at += 1

    def _inline_table(self, path: Path) -> None:
        self.at += 1
        while self._next_is_not("}"):
            self._pair(path)
        self.at += 1

    def _next_is_not(self, closing: str) -> bool:
        self._take(_GAP)
        if self.text[self.at] == ",":
            self.at += 1
            self._take(_GAP)
        return self.text[self.at] != closing
