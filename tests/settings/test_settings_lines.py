"""The line of each key: every integer in the made-up texts is the number of the line it stands on."""

import tomllib

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from wattproof.settings import key_lines

BARE = st.text("abcdefghij-_0123456789", min_size=1, max_size=4)
QUOTED = st.text('ab=#.[]{}, "\\é', min_size=1, max_size=5)
NOISE = ['"a # b = [c] {d}"', "'x = \"#\"'", "2031-03-02", "1979-05-27 07:32:00", "true", "6e-5", '""', "''"]
LONG = ['"""\nq = 7 # "no"\n[t]\n"""', "'''\n[[u]]\n'''''", '"""\\"""" # """', '"""\\\n  joined"""""']


def quoted(key: str) -> str:
    if key and all(sign in "abcdefghij-_0123456789" for sign in key):
        return key
    return '"' + key.replace("\\", "\\\\").replace('"', '\\"') + '"'


class Writer:
    """Writes TOML statement by statement and knows on which line it is."""

    def __init__(self, draw):
        self.draw, self.text = draw, ""

    def line(self):
        return self.text.count("\n") + 1

    def gap(self, *, breaks: bool):
        self.text += self.draw(st.sampled_from(["", " ", "\t"]))
        if breaks:
            self.text += self.draw(st.sampled_from(["", "\n", " # n = [1, 'x\n", "\r\n"]))

    def value(self, depth):
        kinds = ["line", "noise"] + (["long"] if depth >= 0 else []) + (["list", "table"] if depth > 0 else [])
        kind = self.draw(st.sampled_from(kinds))
        if kind == "line":
            self.text += str(self.line())
        elif kind == "noise":
            self.text += self.draw(st.sampled_from(NOISE))
        elif kind == "long":
            self.text += self.draw(st.sampled_from(LONG))
        elif kind == "list":
            self.items(depth)
        else:
            self.table(depth)

    def items(self, depth):
        self.text += "["
        for _ in range(self.draw(st.integers(0, 3))):
            self.gap(breaks=True)
            self.value(depth - 1)
            self.gap(breaks=True)
            self.text += ","
        self.gap(breaks=True)
        self.text += "]"

    def table(self, depth):
        self.text += "{"
        for n in range(self.draw(st.integers(0, 3))):
            self.text += "," if n else ""
            self.gap(breaks=False)
            self.text += f"k{n} = "
            self.value(depth - 1)
        self.text += " }"

    def pairs(self):
        for key in self.draw(st.lists(st.one_of(BARE, QUOTED), max_size=3, unique=True)):
            self.gap(breaks=True)
            dotted = self.draw(st.sampled_from(["", ".in", " . 'in x'"]))
            self.text += f"{quoted(key)}{dotted} = "
            self.value(2)
            self.text += self.draw(st.sampled_from(["\n", " # = 3\n", "\r\n"]))


@st.composite
def toml_texts(draw):
    writer = Writer(draw)
    writer.pairs()
    for name in draw(st.lists(st.sampled_from(["one", '"t.w"', "a.b"]), max_size=3, unique=True)):
        if draw(st.booleans()):
            writer.text += f"[{name}]\n"
            writer.pairs()
        else:
            for _ in range(draw(st.integers(1, 3))):
                writer.text += f" [[ {name} ]] # rows\n"
                writer.pairs()
                writer.text += f"[[{name}.sub]]\n"
                writer.pairs()
    return writer.text


def leaves(data, path=()):
    """Every path of the parsed data with what stands there."""
    yield path, data
    children = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for key, value in children:
        yield from leaves(value, (*path, key))


@given(toml_texts())
@settings(deadline=None, max_examples=150)
@example('a = """x"""""\nb = 2\n')
@example("[[a.b]]\nk = 2\n[[a.b]]\nk = 4\n[a.c]\nk = 6\n")
def test_every_integer_is_found_on_the_line_it_names(text):
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return  # a key drawn twice, or a name that is a table elsewhere
    lines = key_lines(text)
    for path, value in leaves(data):
        if path:
            assert path in lines
        if isinstance(value, int) and not isinstance(value, bool):
            assert lines[path] == value, (path, text)


def test_the_made_up_texts_are_mostly_toml_and_hold_integers():
    """Guards the test above against passing because nothing is drawn."""
    text = '"t.w" = 1\n[[a.b]] # x\nlist = [ 3, # 9\n 4 ]\n\'k"\' = { k0 = 5, k1 = [5] }\n'
    found = [value for _, value in leaves(tomllib.loads(text)) if isinstance(value, int)]
    assert found == [1, 3, 4, 5, 5]
    assert [line for path, line in key_lines(text).items() if path[-1] in ("t.w", 0, 1, "k0")] == [1, 2, 3, 4, 5, 5]


@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_lines_count_the_same_with_either_line_end(end):
    text = end.join(["# head", "a = 2", "", "[t]", "b = [", "6]"])
    assert key_lines(text) == {("a",): 2, ("t",): 4, ("t", "b"): 5, ("t", "b", 0): 6}
