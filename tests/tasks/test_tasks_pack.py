"""A session as one file: packed to the same bytes, signed, and reproduced by a stranger with nothing but the file."""

import importlib.util
import json
import os
import re
import shutil
import stat
import subprocess
import sys
import time
from pathlib import Path

import jsonschema
import pytest

from wattproof import tasks
from wattproof.archive import Archive, Description, open_pack, read_public_fingerprint, read_signing_key
from wattproof.cli import main
from wattproof.errors import ArchiveError, KeyFileError, PackError

proving = importlib.import_module("wattproof.tasks.proving")
_spec = importlib.util.spec_from_file_location("tasks_packs", Path(__file__).with_name("packs.py"))
packs = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(packs)


@pytest.fixture(scope="module")
def archived(tmp_path_factory):
    """A session with ramps, modelled and judged, in an archive."""
    root, name = packs.make_session(tmp_path_factory.mktemp("boathouse"))
    tasks.model(name, archive=root)
    return root, name


@pytest.fixture(scope="module")
def light(tmp_path_factory):
    return packs.make_session(tmp_path_factory.mktemp("boathouse"), ramps=False)


@pytest.fixture(scope="module")
def packed(archived, tmp_path_factory):
    root, name = archived
    return tasks.pack(name, archive=root, out=tmp_path_factory.mktemp("out") / "bittern.zip")


@pytest.fixture(scope="module")
def smallest(light, tmp_path_factory):
    root, name = light
    return tasks.pack(name, archive=root, out=tmp_path_factory.mktemp("out") / "small.zip").file


@pytest.fixture
def small(smallest, tmp_path):
    return Path(shutil.copy(smallest, tmp_path))


@pytest.fixture
def key(tmp_path):
    return tasks.key_new(tmp_path / "tester.key")


def run(*words):
    """Run the command line in this process: exit status."""
    try:
        main([str(word) for word in words])
    except SystemExit as leaving:
        return leaving.code
    return 0


def test_a_stranger_with_nothing_but_the_file_gets_every_figure(archived, packed, tmp_path):
    """In a process of its own, an empty home and an empty folder, with no archive; and it leaves nothing behind."""
    root, name = archived
    home, folder, temporary = (tmp_path / part for part in ("home", "here", "tmp"))
    for made in (home, folder, temporary):
        made.mkdir()
    environment = {"PATH": os.environ["PATH"], "HOME": str(home), "TMPDIR": str(temporary)}
    done = subprocess.run(
        [sys.executable, "-m", "wattproof", "verify", str(packed.file), "--json"],
        capture_output=True, text=True, cwd=folder, env=environment, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (0, "")
    found = json.loads(done.stdout)
    jsonschema.validate(found, json.loads(tasks.schema("verify")))
    published = [figure for result in tasks.session_figures(name, archive=root).captures for figure in result.figures]
    assert len(found["figures"]) == len(published) == packed.figures > 80
    for figure, compared in zip(published, found["figures"], strict=True):
        assert (compared["name"], compared["state"]) == (figure.name, "same")
        assert compared["again"]["value"] == pytest.approx(figure.value, rel=1e-9, abs=1e-15)
    assert [one["state"] for one in found["verdicts"]] == ["same"] * packed.verdicts
    assert found["reproduced"]
    assert found["findings"] == []
    left = [path for place in (folder, temporary) for path in place.rglob("*")]
    assert left == []
    assert not [path for path in home.rglob("*") if "wattproof" in path.name]


def test_a_model_and_a_curve_that_were_changed_are_named(packed, tmp_path):
    forged = packs.Forged.of(packed.file)
    document = forged.document("model.json")
    (rail,) = (one for one in document["models"][0]["parameters"] if one["name"] == "rail_v")
    rail["value"] *= 1.1
    forged.put("model.json", document)
    document = forged.document("figures.json")
    document["captures"][2]["results"][0]["curve"][4]["load_power"] *= 1.001
    forged.put("figures.json", document)
    found = tasks.verify(forged.rehash().write(tmp_path / "forged.zip"))
    curve, model = found.findings
    assert (model.where, model.what) == ("session/model.json", "differs")
    assert model.detail.startswith("parameters.rail_v.value: ")
    assert "capture 3[0].curve[4].load_power: " in curve.detail
    assert not found.reproduced


def test_a_changed_digit_that_is_not_printed_is_told_and_does_not_fail(small, tmp_path):
    forged = packs.Forged.of(small)
    document = forged.document("figures.json")
    power = next(one for one in document["captures"][0]["results"][0]["figures"] if one["name"] == "load_power")
    power["value"] += 0.001 * power["u"]
    forged.put("figures.json", document)
    found = tasks.verify(forged.rehash().write(tmp_path / "forged.zip"))
    assert found.reproduced
    (one,) = (one for one in found.figures if one.state != "same")
    assert (one.name, one.state) == ("load_power", "near")
    assert one.over_u == pytest.approx(-0.001, rel=1e-3)
    (line,) = (line for line in found.text().splitlines() if "same as printed" in line)
    assert "(-0.001 u)" in line


@pytest.mark.parametrize("version", ["0.0.9", None])
def test_another_version_may_word_things_otherwise(version, small, tmp_path):
    forged = packs.Forged.of(small)
    document = forged.document("figures.json")
    document["captures"][2]["results"][0]["warnings"][0]["message"] = "In other words."
    document["wattproof"] = version or document["wattproof"]
    forged.put("figures.json", document)
    verdicts = forged.document("verdicts.json")
    verdicts["judged"]["judgements"][0]["why"] = "for other reasons"
    forged.put("verdicts.json", verdicts)
    manifest = forged.document("manifest.json")
    forged.put("manifest.json", {**manifest, "wattproof": document["wattproof"]})
    found = tasks.verify(forged.rehash().write(tmp_path / "forged.zip"))
    assert found.reproduced is (version is not None)
    assert (found.verdicts[0].state, len(found.findings)) == (("near", 0) if version else ("differs", 1))
    assert ("To repeat it exactly install Wattproof 0.0.9" in found.text()) is (version is not None)


def test_the_same_session_gives_the_same_bytes(light, tmp_path):
    root, name = light
    first = tasks.pack(name, archive=root, out=tmp_path / "first.zip")
    for path in (root / name).rglob("*"):
        os.utime(path, (1e9, 1e9))
    copied = tmp_path / "elsewhere"
    shutil.copytree(root, copied)
    second = tasks.pack(name, archive=copied, out=tmp_path / "second.zip")
    assert first.file.read_bytes() == second.file.read_bytes()
    assert first.manifest_digest == second.manifest_digest


def test_a_pack_is_named_after_its_session(light, tmp_path, monkeypatch):
    root, name = light
    monkeypatch.chdir(tmp_path)
    packed = tasks.pack(name, archive=root)
    assert packed.file == Path(f"{name}.zip")
    assert [path.name for path in tmp_path.iterdir()] == [f"{name}.zip"]


def test_a_pack_never_replaces_another_file(light, small):
    root, name = light
    before = small.read_bytes()
    assert tasks.pack(name, archive=root, out=small).file == small  # the same bytes: nothing to do
    small.write_bytes(b"a letter")
    with pytest.raises(PackError, match="another file") as caught:
        tasks.pack(name, archive=root, out=small)
    assert "--out" in caught.value.hint
    assert small.read_bytes() == b"a letter"
    elsewhere = small.with_name("other.zip")
    assert tasks.pack(name, archive=root, out=elsewhere).file.read_bytes() == before


@pytest.mark.parametrize("out", ["nowhere/pack.zip", "."])
def test_a_place_that_cannot_be_written_is_told(out, light, tmp_path):
    root, name = light
    with pytest.raises(PackError) as caught:
        tasks.pack(name, archive=root, out=tmp_path / out)
    assert caught.value.hint
    assert list(tmp_path.iterdir()) == []


def test_a_session_that_is_not_as_it_was_written_is_not_packed(light, tmp_path):
    root, name = tmp_path / "archive", light[1]
    shutil.copytree(light[0], root)
    path = root / name / "bench.toml"
    path.write_text(path.read_text().replace("42.0", "43.0"))
    with pytest.raises(ArchiveError, match="prove nothing") as caught:
        tasks.pack(name, archive=root, out=tmp_path / "pack.zip")
    assert "bench.toml" in caught.value.why
    assert not (tmp_path / "pack.zip").exists()


def test_only_what_is_evidence_is_packed_and_of_words_the_newest(light, tmp_path):
    root, name = tmp_path / "archive", light[1]
    shutil.copytree(light[0], root)
    store = Archive(root)
    session = store.open_session(name)
    store.keep_remarks(session, "pros = ['light']\n", {"me.jpg": b"\xff\xd8 a face"})
    store.keep_remarks(session, "pros = ['quiet']\n", {"board.jpg": b"\xff\xd8 a board"})
    for extra in ("report/page.html", ".conducting.lock", "notes.txt", "captures/my notes.txt"):
        (session.folder / extra).parent.mkdir(exist_ok=True)
        (session.folder / extra).write_text("private")
    packed = tasks.pack(name, archive=root, out=tmp_path / "pack.zip")
    files = packs.Forged.of(packed.file).files
    assert not any(b"private" in data or b"a face" in data for data in files.values())
    assert files["session/remarks/0002/words.toml"] == b"pros = ['quiet']\n"
    assert tasks.verify(packed.file).reproduced


def test_a_renamed_session_is_packed_under_the_name_it_began_with(light, tmp_path):
    root, name = tmp_path / "archive", light[1]
    shutil.copytree(light[0] / name, root / "the quiet one")
    packed = tasks.pack("the quiet one", archive=root, out=tmp_path / "pack.zip")
    found = tasks.verify(packed.file)
    assert (found.session, found.reproduced) == (name, True)


def test_a_part_of_a_fingerprint_is_told_as_that_and_not_as_a_missing_file(key, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(KeyFileError, match="no whole fingerprint") as caught:
        read_public_fingerprint(key.fingerprint[:8])
    assert "64 hexadecimal digits, and this has 8" in caught.value.why
    with pytest.raises(KeyFileError, match=r"Cannot read a key from reed\.pub"):
        read_public_fingerprint("reed.pub")
    (tmp_path / "cafe").write_bytes(key.public_file.read_bytes())
    assert read_public_fingerprint("cafe") == key.fingerprint


def test_a_signed_pack_is_known_by_its_key(light, key, tmp_path):
    root, name = light
    packed = tasks.pack(name, archive=root, out=tmp_path / "signed.zip", sign=key.secret_file)
    assert packed.signed_by == key.fingerprint
    for named in (str(key.public_file), key.fingerprint, key.fingerprint.replace(" ", "").upper()):
        assert read_public_fingerprint(named) == key.fingerprint
    found = tasks.verify(packed.file, key=str(key.public_file))
    assert (found.signature, found.fingerprint, found.reproduced) == ("good", key.fingerprint, True)
    assert "That is the key you gave." in found.text()
    found = tasks.verify(packed.file)
    assert found.reproduced
    assert "Compare this with the fingerprint" in " ".join(found.text().split())


def test_a_signed_pack_has_the_same_bytes_again(light, key, tmp_path):
    root, name = light
    one, two = (tasks.pack(name, archive=root, out=tmp_path / f"{n}.zip", sign=key.secret_file) for n in (1, 2))
    assert one.file.read_bytes() == two.file.read_bytes()


@pytest.fixture
def signed(light, key, tmp_path):
    root, name = light
    return packs.Forged.of(tasks.pack(name, archive=root, out=tmp_path / "signed.zip", sign=key.secret_file).file)


def _another_key(forged, folder):
    other = tasks.key_new(folder / "forger.key")
    signature = read_signing_key(other.secret_file, ask=None).sign(forged.files["manifest.json"])
    forged.files["signature.json"] = packs.encoded(signature.model_dump(by_alias=True))


def _removed(forged, _folder):
    del forged.files["signature.json"]


def _manifest_edited(forged, _folder):
    manifest = forged.document("manifest.json")
    forged.put("manifest.json", packs.with_digest({**manifest, "versions": {**manifest["versions"], "numpy": "1.0"}}))


def _whole_forgery(forged, _folder):
    """Another bench, measured and packed anew: nothing in it contradicts anything, but who signs it?"""
    document = forged.document("session.json")
    forged.put("session.json", {**document, "note": "A wet day."})
    forged.rehash()


def _swapped_key(forged, folder):
    other = tasks.key_new(folder / "forger.key")
    signature = forged.document("signature.json")
    public = read_signing_key(other.secret_file, ask=None).public.hex()
    forged.put("signature.json", {**signature, "public_key": public})


@pytest.mark.parametrize("forge", [_another_key, _removed, _manifest_edited, _whole_forgery, _swapped_key])
def test_a_signature_that_is_not_the_testers_is_told(forge, signed, key, tmp_path):
    forge(signed, tmp_path)
    pack = signed.write(tmp_path / "forged.zip")
    found = tasks.verify(pack, key=str(key.public_file))
    assert not found.reproduced
    assert "signature" in {finding.what for finding in found.findings}
    assert "signature.json" in {finding.where for finding in found.findings}
    assert "That is the key you gave" not in found.text()


def test_without_a_key_a_whole_forgery_is_what_it_says_it_is(signed, tmp_path):
    """The limit of an unsigned pack, told in so many words."""
    _whole_forgery(signed, tmp_path)
    _removed(signed, tmp_path)
    found = tasks.verify(signed.write(tmp_path / "forged.zip"))
    assert found.reproduced
    assert "nothing says who made it" in " ".join(found.text().split())


def test_a_key_is_secret_and_never_replaced(tmp_path):
    made = tasks.key_new(tmp_path / "tester.key")
    assert stat.S_IMODE(made.secret_file.stat().st_mode) == 0o600
    assert b"PRIVATE" not in made.public_file.read_bytes()
    assert re.fullmatch(r"([0-9a-f]{8} ?){8}", made.fingerprint)
    before = made.secret_file.read_bytes()
    for taken in (made.secret_file, tmp_path / "other"):
        (tmp_path / "other.pub").touch()
        with pytest.raises(KeyFileError, match="already"):
            tasks.key_new(taken)
    assert made.secret_file.read_bytes() == before
    assert not (tmp_path / "other").exists()


def test_a_sealed_key_signs_with_its_passphrase_alone(light, small, tmp_path, monkeypatch):
    root, name = light
    made = tasks.key_new(tmp_path / "tester.key", sealed=True, ask=lambda _words: "reed and marten")
    assert b"ENCRYPTED" in made.secret_file.read_bytes()
    for ask in (None, lambda _words: None, lambda _words: "otter"):
        with pytest.raises(KeyFileError) as caught:
            tasks.pack(name, archive=root, out=tmp_path / "signed.zip", sign=made.secret_file, ask=ask)
        assert caught.value.hint
    monkeypatch.setenv("WATTPROOF_KEY_PASSPHRASE", "reed and marten")
    packed = tasks.pack(name, archive=root, out=tmp_path / "signed.zip", sign=made.secret_file)
    assert packed.signed_by == made.fingerprint


@pytest.mark.parametrize("answers", [[], ["reed", "marten"], [""]])
def test_a_passphrase_is_typed_twice_alike(answers, tmp_path):
    given = iter(answers)
    with pytest.raises(KeyFileError):
        tasks.key_new(tmp_path / "tester.key", sealed=True, ask=(lambda _words: next(given)) if answers else None)
    assert list(tmp_path.iterdir()) == []


def test_keys_of_the_wrong_half_or_kind_are_refused(light, small, key, tmp_path):
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.asymmetric.ec import SECP256R1, generate_private_key

    curve = generate_private_key(SECP256R1())
    other, public = tmp_path / "curve.key", tmp_path / "curve.pub"
    pem = serialization.Encoding.PEM
    other.write_bytes(curve.private_bytes(pem, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()))
    public.write_bytes(curve.public_key().public_bytes(pem, serialization.PublicFormat.SubjectPublicKeyInfo))
    root, name = light
    for wrong in (key.public_file, other, small, tmp_path / "none", tmp_path):
        with pytest.raises(KeyFileError) as caught:
            tasks.pack(name, archive=root, out=tmp_path / "signed.zip", sign=wrong)
        assert caught.value.hint
    for wrong in (key.secret_file, public, small, tmp_path / "none", "abcd", "\0"):
        with pytest.raises(KeyFileError) as caught:
            tasks.verify(small, key=str(wrong))
        assert caught.value.hint


def test_the_command_line_leaves_with_what_it_found(light, small, tmp_path, capsys):
    assert run("verify", small) == 0
    assert capsys.readouterr().out.splitlines()[1].startswith("REPRODUCED: all ")
    forged = packs.Forged.of(small)
    forged.files["README.txt"] += b"\n"
    assert run("verify", forged.write(tmp_path / "forged.zip")) == 4
    assert "CHANGED  README.txt" in capsys.readouterr().out
    assert run("verify", forged.write(tmp_path / "forged.zip"), "--json") == 4
    assert json.loads(capsys.readouterr().out)["findings"][0]["where"] == "README.txt"
    (tmp_path / "letter.zip").write_text("Dear friend")
    assert run("verify", tmp_path / "letter.zip", "--json") == 2
    assert json.loads(capsys.readouterr().err)["error"]["code"] == "pack"
    assert run("key", "new", tmp_path / "tester.key", "--json") == 0
    assert json.loads(capsys.readouterr().out)["fingerprint"]
    words = ("--archive", light[0], "--sign", tmp_path / "tester.key", "--json")
    assert run("pack", light[1], "--out", tmp_path / "signed.zip", *words) == 0
    answer = json.loads(capsys.readouterr().out)
    jsonschema.validate(answer, json.loads(tasks.schema("pack")))


def _figures_twice(forged):
    document = forged.document("figures.json")
    false = json.loads(json.dumps(document["captures"][0]))
    false["results"][0]["figures"][0]["value"] *= 2
    document["captures"].insert(0, false)
    forged.put("figures.json", document)
    forged.rehash()


def _a_key_twice(forged):
    name = forged.name("01-steady-4-ohm/capture.json")
    forged.files[name] = forged.files[name].replace(b'"number": 1,', b'"number": 7, "number": 1,')
    forged.remanifest()


def _a_source_twice(forged):
    document = forged.document("figures.json")
    power = next(one for one in document["captures"][0]["results"][0]["figures"] if one["name"] == "load_power")
    power["budget"].insert(0, {**power["budget"][0], "u": 0.0})
    forged.put("figures.json", document)
    forged.rehash()


@pytest.mark.parametrize(
    ("forge", "words"),
    [
        (_figures_twice, "one of them twice"),
        (_a_key_twice, 'it tells "number" twice'),
        (_a_source_twice, "budget: a source twice"),
    ],
)
def test_a_false_thing_does_not_hide_behind_a_true_one(forge, words, small, tmp_path):
    forged = packs.Forged.of(small)
    forge(forged)
    found = tasks.verify(forged.write(tmp_path / "forged.zip"))
    assert not found.reproduced
    assert words in " ".join(found.text().split())


def test_a_machine_without_room_for_temporary_files_is_told(small, tmp_path, monkeypatch):
    monkeypatch.setattr(proving.TemporaryDirectory, "__init__", lambda *_, **__: (tmp_path / "a" / "b").mkdir())
    with pytest.raises(PackError, match="no folder to unpack") as caught:
        tasks.verify(small)
    assert "TMPDIR" in caught.value.hint


def test_a_void_capture_of_rubbish_stands_in_nobodys_way(light, tmp_path):
    """Beside a capture that cannot be measured, one that is void is no second trouble."""
    root, name = tmp_path / "archive", light[1]
    shutil.copytree(light[0], root)
    (tmp_path / "rubbish.wav").write_bytes(b"RIFF")
    store = Archive(root)
    session = store.open_session(name)
    record = store.add_capture(session, tmp_path / "rubbish.wav", Description(kind="steady"))
    store.void_capture(session, record.number, "The recorder was unplugged.")
    packed = tasks.pack(name, archive=root, out=tmp_path / "pack.zip")
    assert tasks.verify(packed.file).reproduced
    forged = packs.Forged.of(packed.file)
    flac = forged.name("original.flac")
    forged.files[flac] = forged.files[flac][:-900]
    found = tasks.verify(forged.rehash().write(tmp_path / "forged.zip"))
    assert {one.capture for one in found.figures if one.state == "unchecked"} == {2}
    assert {one.state for one in found.figures if one.capture != 2} == {"same"}


KILLED = """
import sys, time
from pathlib import Path
from wattproof import tasks
from wattproof.archive import pack_write
genuine = pack_write._put
def slow(*words):
    found = genuine(*words)
    print("put", flush=True)
    time.sleep(0.02)
    return found
pack_write._put = slow
tasks.pack(sys.argv[1], archive=Path(sys.argv[2]), out=Path(sys.argv[3]))
"""


def test_a_kill_in_the_middle_leaves_no_pack(light, tmp_path):
    root, name = light
    target = tmp_path / "pack.zip"
    words = [sys.executable, "-c", KILLED, name, str(root), str(target)]
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True) as packing:
        for _ in range(5):
            assert packing.stdout.readline() == "put\n"
        packing.kill()
    time.sleep(0.05)
    assert not target.exists()
    assert all(path.name.startswith(".part-") for path in tmp_path.iterdir())
    assert open_pack(tasks.pack(name, archive=root, out=target).file).findings == ()


HOSTILE = {
    "a settings file elsewhere": ("session.json", ("files",), {"../../../../etc/passwd": "0" * 64}),
    "wishes of rubbish": ("01-steady-4-ohm/capture.json", ("description", "answers"), {"wishes": {"kind": ["x"]}}),
    "wishes of no number": (
        "01-steady-4-ohm/capture.json",
        ("description", "answers"),
        {"wishes": {"tone_hz": "1e999"}},
    ),
    "an original elsewhere": ("01-steady-4-ohm/capture.json", ("original",), "../../session.json"),
    "a number beyond all": ("01-steady-4-ohm/capture.json", ("size_bytes",), 10**400),
    "a newer session": ("session.json", ("schema",), 99),
    "no amplifier": ("session.json", ("amplifier",), None),
    "a load of nothing": ("session.json", ("bench", "loads"), []),
    "a terminal's orders": ("session.json", ("amplifier", "maker"), "\x1b[2J\x1b]0;owned\x07\u202e"),
    "figures without end": ("figures.json", ("captures", 0, "results", 0, "figures", 0, "value"), "INF"),
    "an endless u": ("figures.json", ("captures", 0, "results", 0, "figures", 0, "u"), "INF"),
    "a figure's name": ("figures.json", ("captures", 0, "results", 0, "figures", 0, "name"), "\x1b[31mgood\n\n"),
    "a count of nothing": ("figures.json", ("captures",), []),
    "a verdict without a rating": ("verdicts.json", ("judged", "ratings"), []),
}


@pytest.mark.parametrize("kind", HOSTILE)
def test_nothing_that_a_pack_says_can_make_us_fall_or_a_terminal_obey(kind, small, tmp_path):
    end, place, value = HOSTILE[kind]
    forged = packs.Forged.of(small)
    document = spot = forged.document(end)
    for step in place[:-1]:
        spot = spot[step]
    spot[place[-1]] = value
    forged.files[forged.name(end)] = packs.encoded(document).replace(b'"INF"', b"1e999")
    pack = forged.remanifest().write(tmp_path / "forged.zip")
    found = tasks.verify(pack)
    text = found.text().splitlines()
    assert all(line.isprintable() for line in text)
    assert text[1].startswith("NOT REPRODUCED")
    assert found.to_json().isascii()
    assert json.loads(found.to_json())["findings"]
