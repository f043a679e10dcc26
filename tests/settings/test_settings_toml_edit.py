"""A TOML file made to say something else: it says that, and its comments stay where what they are about stays."""

import tomllib

from hypothesis import given, settings
from hypothesis import strategies as st

from wattproof.settings import edited_toml

TEXT = """\
# the boathouse's own
maker = "Saltmarsh & Daughter"  # as printed
fuse_a = 60
price = { amount = 329, currency = "GBP" }

[inside]
# two in parallel
rail_capacitors_uf = 6600

[[ratings]]
quantity = "power"  # front of the box
value = 520

[[ratings]]
quantity = "snr"
value = 100
"""


def test_comments_stay_and_only_what_changed_changes():
    said = tomllib.loads(TEXT)
    assert edited_toml(TEXT, said) == TEXT
    said["fuse_a"] = 80
    said["ratings"][0]["value"] = 540
    said["ratings"].append({"quantity": "thd", "value": 1.0})
    new = edited_toml(TEXT, said)
    assert tomllib.loads(new) == said
    for comment in ("# the boathouse's own", "# as printed", "# two in parallel", "# front of the box"):
        assert comment in new
    assert new.replace("80", "60").replace("540", "520").startswith(TEXT[:60])


def test_what_is_left_out_goes_and_none_is_left_out():
    said = {"maker": "X", "fuse_a": None, "ratings": []}
    assert tomllib.loads(edited_toml(TEXT, said)) == {"maker": "X", "ratings": []}


plain = st.one_of(
    st.booleans(), st.integers(-1000, 1000), st.floats(allow_nan=False, allow_infinity=False), st.text(max_size=8)
)
keys = st.text("abcdef_", min_size=1, max_size=4)
values = st.recursive(
    st.one_of(plain, st.lists(plain, max_size=3)),
    lambda inner: st.one_of(
        st.dictionaries(keys, inner, max_size=3),
        st.lists(st.dictionaries(keys, inner, max_size=2), min_size=1, max_size=3),
    ),
    max_leaves=8,
)
tables = st.dictionaries(keys, values, max_size=4)


@given(before=tables, after=tables)
@settings(max_examples=50, deadline=None)
def test_the_file_says_what_it_is_told_to_whatever_it_said_before(before, after):
    text = edited_toml("", before)
    assert tomllib.loads(text) == before
    new = edited_toml(text, after)
    found = tomllib.loads(new)
    assert found == after
    assert repr(found) == repr(tomllib.loads(edited_toml("", found)))  # true is not 1
