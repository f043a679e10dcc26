"""A TOML file made to say something else, with its comments and its order kept where they still belong."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from tomlkit.container import Container
    from tomlkit.items import Table


def edited_toml(text: str, said: Mapping[str, Any]) -> str:
    r"""Write TOML that says what is given, as near to the text before as that allows.

    Parameters
    ----------
    text : str
        Valid TOML, or empty.
    said : mapping of str to plain values
        All that the file is to say: strings, numbers, dates, lists and mappings; a None is left out.

    Examples
    --------
    >>> print(edited_toml("fuse_a = 60  # on the board\nclass = 'D'\n", {"fuse_a": 80, "class": "D"}))
    fuse_a = 80  # on the board
    class = 'D'
    <BLANKLINE>
    """
    import tomlkit

    document = tomlkit.parse(text)
    _make_equal(document, said)
    return tomlkit.dumps(document)


def _make_equal(table: "Container | Table", said: Mapping[str, Any]) -> None:
    wanted = {key: value for key, value in said.items() if value is not None}
    for key in [key for key in table if key not in wanted]:
        del table[key]
    # plain values first: in TOML what follows a table's head belongs to that table
    for key, value in sorted(wanted.items(), key=lambda pair: _is_nested(pair[1])):
        old = table.get(key)
        if isinstance(value, Mapping):
            _set_table(table, key, old, value)
        elif _is_tables(value):
            _set_tables(table, key, old, value)
        elif old is None or old != value or type(old) is bool or isinstance(value, bool):
            _set_value(table, key, value)


def _is_nested(value: object) -> bool:
    return isinstance(value, Mapping) or _is_tables(value)


def _is_tables(value: object) -> bool:
    listed = isinstance(value, Sequence) and not isinstance(value, str) and len(value) > 0
    return listed and all(isinstance(one, Mapping) for one in value)  # type: ignore[attr-defined]


def _set_value(table: "Container | Table", key: str, value: object) -> None:
    import tomlkit

    new = tomlkit.item(list(value) if isinstance(value, tuple) else value)
    old = table.get(key)
    if old is not None and hasattr(old, "trivia"):  # the comment behind the old value stays
        new.trivia.comment_ws, new.trivia.comment = old.trivia.comment_ws, old.trivia.comment
    table[key] = new


def _set_table(table: "Container | Table", key: str, old: Any, value: Mapping[str, Any]) -> None:  # noqa: ANN401
    import tomlkit

    if not isinstance(old, dict):
        table[key] = tomlkit.inline_table() if _is_small(value) else tomlkit.table()
    _make_equal(table[key], value)


def _is_small(value: Mapping[str, Any]) -> bool:
    return len(value) <= 2 and not any(_is_nested(one) for one in value.values())


def _set_tables(table: "Container | Table", key: str, old: Any, values: Sequence[Mapping[str, Any]]) -> None:  # noqa: ANN401
    import tomlkit
    from tomlkit.items import AoT

    if not isinstance(old, AoT):
        table[key] = tomlkit.aot()
    tables = table[key]
    while len(tables) > len(values):
        del tables[-1]
    for place, value in enumerate(values):
        if place == len(tables):
            tables.append(tomlkit.table())
        _make_equal(tables[place], value)
