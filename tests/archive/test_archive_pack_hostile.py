"""Packs from strangers: every trick a ZIP can play is refused with the reason, before anything is written."""

import io
import json
import os
import struct
import warnings
import zipfile
import zlib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wattproof.archive import open_pack, pack_read, pack_zip
from wattproof.archive.documents import encode
from wattproof.archive.pack_model import Manifest, PackedFile
from wattproof.archive.pack_names import belongs, check_names
from wattproof.archive.pack_write import with_digest
from wattproof.archive.pack_zip import read_entries, stream
from wattproof.errors import PackError

FIRST_DAY = (1980, 1, 1, 0, 0, 0)
CAPTURE = "session/captures/01-steady/original.wav"
BODY = {"README.txt": b"read me\n", "session/bench.toml": b"name = 'Boathouse'\n" * 40, CAPTURE: bytes(range(256)) * 9}


def manifest_of(files, **changed):
    import hashlib

    listed = tuple(
        PackedFile(path=name, size_bytes=len(data), sha256=hashlib.sha256(data).hexdigest())
        for name, data in sorted(files.items())
    )
    fields = {"wattproof": "0.1.0", "versions": {}, "session": "2031-05-14-bittern-1-a3f9", "files": listed, **changed}
    return encode(with_digest(Manifest(**fields)))


def put(file, name, data, method=None, **changed):
    info = zipfile.ZipInfo("x", date_time=FIRST_DAY)
    info.filename = name
    info.create_system, info.external_attr = 3, 0o100644 << 16
    text = name.endswith((".json", ".toml", ".txt"))
    info.compress_type = method if method is not None else zipfile.ZIP_DEFLATED if text else zipfile.ZIP_STORED
    for key, value in changed.items():
        setattr(info, key, value)
    file.writestr(info, data)


def zipped(files=BODY, more=(), **manifest):
    """Make a pack of some files, and of `more` entries that the manifest does not know."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as file:
        put(file, "manifest.json", manifest_of(files, **manifest))
        for name, data in files.items():
            put(file, name, data)
        for entry in more:
            put(file, *entry[:2], **(entry[2] if len(entry) > 2 else {}))
    return buffer.getvalue()


GENUINE = zipped()


@pytest.fixture
def opening(tmp_path):
    """Open bytes as a pack; whatever comes of it, nothing else may be in the folder afterwards."""

    def opened(data):
        path = tmp_path / "stranger.zip"
        path.write_bytes(data)
        try:
            return open_pack(path)
        finally:
            assert [entry.name for entry in tmp_path.iterdir()] == ["stranger.zip"]

    return opened


def refused(opening, data, *words):
    with pytest.raises(PackError) as caught:
        opening(data)
    error = caught.value
    assert (error.code, error.exit_status) == ("pack", 2)
    assert error.why
    assert error.hint
    assert all(word in str(error) for word in words), str(error)
    assert str(error).replace("\n", "").isprintable()


def test_the_genuine_one_is_opened_and_unpacked(opening, tmp_path):
    opened = opening(GENUINE)
    assert opened.findings == ()
    home = opened.unpack(tmp_path / "out")
    found = {path.relative_to(home).as_posix(): path.read_bytes() for path in home.rglob("*") if path.is_file()}
    assert found == {name.removeprefix("session/"): data for name, data in BODY.items() if name.startswith("session/")}
    assert home.name == "2031-05-14-bittern-1-a3f9"


TRICKS = {
    "../../evil.toml": "..",
    "session/../../../evil.toml": "..",
    "session/captures/../../x.json": "..",
    "/etc/cron.d/evil": "absolute",
    "C:/evil.txt": "drive",
    "c:evil.txt": "drive",
    "session\\bench.toml": "backslash",
    "..\\..\\evil.txt": "backslash",
    "session//bench.toml": "empty part",
    "./session/bench.toml": "only a dot",
    "session/": "folder",
    "session/captures/01-steady/original.wav/": "folder",
    "session/bench.toml\n": "control",
    "session/\x1b[2Jbench.toml": "control",
    "session/bench\u202e.toml": "control",
    "session/bench.toml\u200b": "control",
    "session/bench\u00a0.toml": "control",
    "": "0 characters",
    "session/" + "a" * 200 + ".toml": "characters",
    "session/evil.py": "no part of a pack",
    "session/captures/01-steady/original.wav.exe ": "no part of a pack",
    "session/captures/con/capture.json": "no part of a pack",
    "__MACOSX/._session.json": "no part of a pack",
    ".DS_Store": "no part of a pack",
    "session/session.json/x": "no part of a pack",
    "other/bench.toml": "no part of a pack",
}


@pytest.mark.parametrize("name", TRICKS)
def test_a_name_that_is_a_trick_is_refused(name, opening):
    refused(opening, zipped(more=[(name, b"x")]), TRICKS[name])


@pytest.mark.parametrize(
    "name",
    [
        "session/bench.toml",
        "session/Bench.TOML",
        "SESSION/bench.toml",
        "session/bench.tom\uff4c",
        "\uff33ession/bench.toml",
    ],
)
def test_a_name_that_hides_another_is_refused(name, opening):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the writer's own word about a name that is there twice
        data = zipped(more=[(name, b"x")])
    refused(opening, data, "twice", "one file on many systems")


@pytest.mark.parametrize(
    ("changed", "word"),
    [
        ({"external_attr": 0o120777 << 16}, "link"),
        ({"external_attr": 0o040755 << 16}, "link, a folder"),
        ({"external_attr": 0o010644 << 16}, "device"),
        ({"external_attr": 0o060644 << 16}, "device"),
        ({"external_attr": 0x10, "create_system": 0}, "folder"),
        ({"compress_type": zipfile.ZIP_BZIP2}, "method 12"),
        ({"compress_type": zipfile.ZIP_LZMA}, "method 14"),
    ],
)
def test_what_is_no_plain_file_is_refused(changed, word, opening):
    method = changed.pop("compress_type", None)
    data = zipped(more=[("session/amplifier.toml", b"x" * 50, {**changed, "method": method})])
    refused(opening, data, word)


def central(data, name=b"session/bench.toml"):
    """Give where the directory's entry of a name begins."""
    at = data.rindex(name) - 46
    assert data[at : at + 4] == b"PK\x01\x02"
    return at


def local(data, name=b"session/bench.toml"):
    at = data.index(name) - 30
    assert data[at : at + 4] == b"PK\x03\x04"
    return at


def patched(data, at, form, value):
    return data[:at] + struct.pack(form, value) + data[at + struct.calcsize(form) :]


@pytest.mark.parametrize("flag", [0x1, 0x40, 0x2000])
def test_an_encrypted_entry_is_refused(flag, opening):
    refused(opening, patched(GENUINE, central(GENUINE) + 8, "<H", flag), "encrypted")


def test_a_size_left_open_is_refused(opening):
    refused(opening, patched(GENUINE, central(GENUINE) + 8, "<H", 0x8), "size open")


@pytest.mark.parametrize(
    ("offset", "form", "value"),
    [(10, "<H", 0), (16, "<I", 1), (20, "<I", 12), (24, "<I", 12), (42, "<I", 7), (28, "<H", 9)],
    ids=["method", "crc", "packed size", "size", "place", "name's length"],
)
def test_a_directory_that_says_otherwise_is_refused(offset, form, value, opening):
    refused(opening, patched(GENUINE, central(GENUINE) + offset, form, value))


@pytest.mark.parametrize(
    ("offset", "form", "value"),
    [
        (6, "<H", 1),
        (6, "<H", 8),
        (8, "<H", 0),
        (14, "<I", 1),
        (18, "<I", 12),
        (22, "<I", 12),
        (26, "<H", 4),
        (28, "<H", 4),
    ],
)
def test_a_header_that_says_otherwise_is_refused(offset, form, value, opening):
    refused(opening, patched(GENUINE, local(GENUINE) + offset, form, value), "say")


def test_a_header_of_another_name_is_refused(opening):
    at = local(GENUINE) + 30
    refused(opening, GENUINE[:at] + b"session/other.toml" + GENUINE[at + 18 :], "do not say the same")


@pytest.mark.parametrize("length", [0, 1, 21, 22, 100, len(GENUINE) // 2, len(GENUINE) - 22, len(GENUINE) - 1])
def test_a_truncated_archive_is_refused(length, opening):
    refused(opening, GENUINE[:length])


@pytest.mark.parametrize("before", [b"#!/bin/sh\n", b"MZ" + bytes(500), b"\x00", GENUINE])
def test_an_archive_behind_something_else_is_refused(before, opening):
    refused(opening, before + GENUINE)


@pytest.mark.parametrize("behind", [b"\x00", b"PK\x05\x06", b"comment", GENUINE[:-22]])
def test_something_behind_the_archive_is_refused(behind, opening):
    refused(opening, GENUINE + behind)


def test_a_comment_is_refused(opening):
    buffer = io.BytesIO(GENUINE)
    with zipfile.ZipFile(buffer, "a") as file:
        file.comment = b"see also"
    refused(opening, buffer.getvalue(), "added behind it")


def test_bytes_between_two_entries_are_refused(opening):
    """What nobody would unpack cannot be hashed either: a place to hide things."""
    at = local(GENUINE, CAPTURE.encode())
    end = struct.unpack_from("<I", GENUINE, len(GENUINE) - 6)[0]
    data = GENUINE[:at] + b"hidden!!" + GENUINE[at:]
    place = central(data, CAPTURE.encode())
    data = patched(data, place + 42, "<I", at + 8)
    refused(opening, patched(data, len(data) - 6, "<I", end + 8), "follows the one before it")


def test_two_entries_over_the_same_bytes_are_refused(opening):
    """Overlapping entries make a bomb out of a small file."""
    at = struct.unpack_from("<I", GENUINE, central(GENUINE, b"README.txt") + 42)[0]
    refused(opening, patched(GENUINE, central(GENUINE) + 42, "<I", at))


def bomb(size_bytes):
    squeeze = zlib.compressobj(9, zlib.DEFLATED, -15)
    block = bytes(1 << 20)
    return b"".join(squeeze.compress(block) for _ in range(size_bytes >> 20)) + squeeze.flush()


def deflated(data):
    squeeze = zlib.compressobj(9, zlib.DEFLATED, -15)
    return squeeze.compress(data) + squeeze.flush()


def test_a_bomb_is_refused_by_what_it_states(opening):
    data = zipped(more=[("session/journal.jsonl", bytes(8 << 20), {"method": zipfile.ZIP_DEFLATED})])
    assert len(data) < 20_000
    refused(opening, data, "would become")


def with_stated(name, compressed, stated_bytes, crc=0):
    """Add an entry whose header and directory agree on a size, whatever is in it."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as file:
        put(file, "manifest.json", manifest_of(BODY))
        for one, data in BODY.items():
            put(file, one, data)
        put(file, name, compressed, method=zipfile.ZIP_STORED)
    data = buffer.getvalue()
    for at, shift in ((local(data, name.encode()), 0), (central(data, name.encode()), 2)):
        data = patched(data, at + 8 + shift, "<H", zipfile.ZIP_DEFLATED)
        data = patched(data, at + 14 + shift, "<I", crc)
        data = patched(data, at + 22 + shift, "<I", stated_bytes)
    return data


def test_a_bomb_that_states_a_small_size_is_stopped_where_it_exceeds_it(opening, monkeypatch):
    given_bytes = []
    genuine = pack_zip.zlib.crc32
    monkeypatch.setattr(
        pack_zip.zlib, "crc32", lambda piece, crc: given_bytes.append(len(piece)) or genuine(piece, crc)
    )
    data = with_stated("session/journal.jsonl", bomb(8 << 20), 5000)
    refused(opening, data, "unpacks to more than the 5000 bytes it states")
    assert sum(given_bytes) < 2 << 20


@pytest.mark.parametrize(
    ("compressed", "stated", "word"),
    [
        (bomb(1 << 20)[:-20], 1 << 20, "unpacks to"),
        (bomb(1 << 20) + b"more", 1 << 20, "unpacks to"),
        (b"\xff" * 40, 40, "cannot be unpacked"),
        (deflated(bytes(5000)), 5005, "unpacks to 5000 bytes"),
        (b"", 40, "unpacks to 0 bytes"),
    ],
    ids=["cut short", "goes on", "rubbish", "less than it states", "nothing"],
)
def test_a_body_that_is_not_what_it_states_is_refused(compressed, stated, word, opening):
    refused(opening, with_stated("session/journal.jsonl", compressed, stated), word)


def test_a_changed_body_under_its_old_checksum_is_refused(opening):
    at = GENUINE.index(BODY[CAPTURE])
    refused(opening, GENUINE[:at] + b"\x7f" + GENUINE[at + 1 :], "not those it states")


def test_too_many_files_are_refused(opening, monkeypatch):
    monkeypatch.setattr(pack_zip, "MOST_ENTRIES", 3)
    refused(opening, GENUINE, "at most 3")


def test_too_much_in_all_is_refused(opening, monkeypatch):
    monkeypatch.setattr(pack_zip, "LARGEST_TOTAL_BYTES", 1000)
    refused(opening, GENUINE, "would unpack to")


@pytest.mark.parametrize("name", ["session/session.json", "session/bench.toml", "manifest.json"])
def test_an_oversized_document_is_refused(name, opening, monkeypatch):
    monkeypatch.setattr(pack_read, "LARGEST_DOCUMENT_BYTES", 500)
    monkeypatch.setattr(pack_read, "LARGEST_MANIFEST_BYTES", 500)
    refused(opening, zipped({**BODY, "session/session.json": b"{}" * 400}), "larger than it can be")


@pytest.mark.parametrize("limit", [10, 300])
def test_a_pack_of_64_bit_sizes_is_read_like_any_other(limit, opening, monkeypatch):
    monkeypatch.setattr(zipfile, "ZIP64_LIMIT", limit)
    monkeypatch.setattr(zipfile, "ZIP_FILECOUNT_LIMIT", 2)
    data = zipped()
    assert b"PK\x06\x06" in data
    assert data != GENUINE
    assert opening(data).findings == ()


@pytest.mark.parametrize("offset", [4, 16, 20, 24, 32, 40, 48])
def test_a_64_bit_end_that_lies_is_refused(offset, opening, monkeypatch):
    monkeypatch.setattr(zipfile, "ZIP64_LIMIT", 300)
    data = zipped()
    at = data.index(b"PK\x06\x06") + offset
    refused(opening, patched(data, at, "<I", struct.unpack_from("<I", data, at)[0] + 1))


def test_a_64_bit_size_that_lies_is_refused(opening, monkeypatch):
    monkeypatch.setattr(zipfile, "ZIP64_LIMIT", 300)
    data = zipped()
    at = central(data, CAPTURE.encode()) + 46 + len(CAPTURE) + 4
    for value in (1, 1 << 40, (1 << 63) + 5):
        refused(opening, patched(data, at, "<Q", value))


def test_a_64_bit_note_where_none_is_wanted_is_refused(opening):
    extra = struct.pack("<2HQ", 1, 8, 760)
    refused(opening, zipped(more=[("session/amplifier.toml", b"x", {"extra": extra})]))


def test_a_pack_without_a_manifest_is_refused(opening):
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as file:
        put(file, "README.txt", b"read me\n")
    refused(opening, buffer.getvalue(), "no manifest.json")


def rewritten(**changed):
    plain = {**json.loads(manifest_of(BODY)), **changed}
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as file:
        put(file, "manifest.json", json.dumps(plain).encode())
        for name, data in BODY.items():
            put(file, name, data)
    return buffer.getvalue()


@pytest.mark.parametrize(
    "changed",
    [
        {"session": "../../evil"},
        {"session": "/tmp/evil"},
        {"session": ".hidden"},
        {"session": "a" * 300},
        {"session": 5},
        {"files": "all of them"},
        {"files": [{"path": "x", "size_bytes": -1, "sha256": "0" * 64}]},
        {"what": "something else"},
        {"evil": True},
        {"digest": "short"},
        {"schema": "one"},
    ],
    ids=lambda changed: next(iter(changed)),
)
def test_a_manifest_that_is_none_is_refused(changed, opening):
    refused(opening, rewritten(**changed), "manifest.json")


def test_a_manifest_of_a_newer_version_says_so(opening):
    refused(opening, rewritten(schema=2), "newer Wattproof")


@pytest.mark.parametrize("raw", [b"", b"[]", b"{", b"\xff\xfe", b'{"schema": 1' + b"[" * 100_000, b"null"])
def test_a_manifest_of_rubbish_is_refused(raw, opening):
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as file:
        put(file, "manifest.json", raw)
    refused(opening, buffer.getvalue())


@pytest.mark.parametrize("kind", ["missing", "folder", "pipe", "empty"])
def test_what_is_no_file_is_refused(kind, tmp_path):
    path = tmp_path / "stranger.zip"
    makers = {"folder": path.mkdir, "pipe": lambda: os.mkfifo(path), "empty": path.touch, "missing": lambda: None}
    makers[kind]()
    with pytest.raises(PackError):
        open_pack(path)


def test_a_link_to_a_pack_may_be_named_but_what_is_unpacked_replaces_nothing(opening, tmp_path):
    opened = opening(GENUINE)
    home = opened.unpack(tmp_path / "out")
    with pytest.raises(PackError, match="cannot be unpacked"):
        opened.unpack(tmp_path / "out")
    assert (home / "bench.toml").read_bytes() == BODY["session/bench.toml"]


@settings(max_examples=50, deadline=None)
@given(at=st.integers(0, len(GENUINE) - 1), to=st.binary(min_size=1, max_size=6))
def test_any_damage_is_refused_or_found_and_is_never_a_fault_of_ours(at, to):
    data = GENUINE[:at] + to + GENUINE[at + len(to) :]
    file = io.BytesIO(data)
    try:
        entries = read_entries(file)
        found = {entry.name: b"".join(stream(file, entry)) for entry in entries}
    except PackError:
        return
    assert data == GENUINE or found == {**BODY, "manifest.json": manifest_of(BODY)}  # a time, or rights: told apart


@settings(max_examples=50, deadline=None)
@given(st.lists(st.text(max_size=30), min_size=1, max_size=4))
def test_no_other_name_is_ever_let_in(names):
    with pytest.raises(PackError):
        check_names(["session/session.json", *names, "session/session.json"])
    try:
        check_names(names)
    except PackError:
        return
    assert all(name.isascii() and belongs(name.removeprefix("session/")) for name in names if "/" in name)
