"""A session's report from the command line's door: files, words and photographs kept, and refusals that cure."""

import io
import json

import pytest
from PIL import Image

from wattproof import tasks
from wattproof.archive import Archive
from wattproof.errors import ArchiveError, FileMissingError, SettingsError, UnknownFormatError

BENCH = """
name = "Boathouse bench"
[[loads]]
name = "4 ohm"
resistance_ohm = 4.0
resistance_u_ohm = 0.01
[[meters]]
name = "handheld"
quantity = "load_voltage"
percent_of_reading = 0.3
[[meters]]
name = "panel"
quantity = "supply_voltage"
percent_of_reading = 0.2
"""
AMPLIFIER = """
maker = "Reed & Marten"
model = "Otter 4"
[controls]
gain = "minimum"
[[ratings]]
quantity = "power"
value = 250
unit = "W"
load_ohm = 4
supply_v = 14.4
thd_percent = 1
"""
READINGS = """output,load,frequency_hz,kind,load_voltage_v,supply_voltage_v,thd_percent
A,4 ohm,47,steady,33.0,14.40,0.8
"""
WORDS = """
summary = "Small, and runs cool."
pros = ["terminals take thick wire"]
cons = ["the fan never stops"]
[[photos]]
file = "board.jpg"
caption = "Board from above"
"""
POST = ("md",)


@pytest.fixture
def desk(tmp_path, monkeypatch):
    """A folder with a session in its archive, a words file and a photograph that tells where it was taken."""
    for name, text in (("bench", BENCH), ("amplifier", AMPLIFIER), ("words", WORDS)):
        (tmp_path / f"{name}.toml").write_text(text, encoding="utf-8")
    (tmp_path / "readings.csv").write_text(READINGS, encoding="utf-8")
    exif = Image.Exif()
    exif.get_ifd(0x8825)[29] = "52.3702"
    Image.new("RGB", (400, 300), "sienna").save(tmp_path / "board.jpg", exif=exif)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("WATTPROOF_ARCHIVE", str(tmp_path / "archive"))
    made = tasks.session_new(tmp_path / "amplifier.toml", tmp_path / "bench.toml")
    tasks.session_add(made.session, [tmp_path / "readings.csv"])
    return tmp_path, made.session


def post_of(report):
    return next(one.file for one in report.files if one.format == "md").read_text(encoding="utf-8")


def kept_by(desk):
    store = Archive(desk[0] / "archive")
    return store, store.open_session(desk[1])


def test_a_report_is_a_page_a_print_and_a_post_named_after_the_session(desk):
    folder, session = desk
    made = tasks.report("otter")
    assert [(one.format, one.file.name) for one in made.files] == [
        (ending, f"{session}.{ending}") for ending in ("html", "pdf", "md")
    ]
    for one, begins in zip(made.files, (b"<!doctype html", b"%PDF-", b"# "), strict=True):
        data = (folder / one.file).read_bytes()
        assert data[: len(begins)].lower() == begins.lower()
        assert len(data) == one.size_bytes
    # 33.0 V squared over 4 ohm, with 0.3 % and 0.01 ohm
    assert f"{33.0**2 / 4:.1f}" in made.found[0]
    assert json.loads(made.to_json())["session"] == session


def test_the_same_session_gives_the_same_bytes_and_says_when_only_if_asked(desk):
    first = post_of(tasks.report("otter", format=POST))
    assert post_of(tasks.report("otter", format=POST)) == first
    assert post_of(tasks.report("otter", format=POST, dated=True)) != first


def test_an_ending_given_with_out_is_not_doubled_and_one_of_ones_own_is_kept(desk):
    folder, _ = desk
    assert [one.file for one in tasks.report("otter", out=folder / "mine.md", format=POST).files] == [
        folder / "mine.md"
    ]
    assert [one.file.name for one in tasks.report("otter", out=folder / "v1.2", format=POST).files] == ["v1.2.md"]


def test_words_and_photographs_are_kept_and_the_next_report_has_them_too(desk):
    folder, _ = desk
    tasks.report("otter", words=folder / "words.toml", format=POST)
    (folder / "words.toml").unlink()
    (folder / "board.jpg").unlink()
    again = tasks.report("otter", format=POST)
    assert again.photos == 1
    for said in ("Small, and runs cool.", "terminals take thick wire", "the fan never stops", "Board from above"):
        assert said in post_of(again)
    store, session = kept_by(desk)
    kept = store.remarks(session)
    assert kept.words == WORDS
    assert b"52.3702" not in kept.photos["board.jpg"]
    with Image.open(io.BytesIO(kept.photos["board.jpg"])) as image:
        assert (image.size, len(image.getexif())) == ((400, 300), 0)
    assert not store.verify(session)


def test_words_given_later_take_the_place_of_the_first_which_stay_in_the_archive(desk):
    folder, _ = desk
    tasks.report("otter", words=folder / "words.toml", format=POST)
    (folder / "words.toml").write_text('pros = ["blue"]\n', encoding="utf-8")
    made = tasks.report("otter", words=folder / "words.toml", format=POST)
    assert made.photos == 0
    assert "blue" in post_of(made)
    assert "fan never stops" not in post_of(made)
    _, session = kept_by(desk)
    assert [path.read_text() for path in sorted(session.folder.glob("remarks/*/words.toml"))] == [
        WORDS, 'pros = ["blue"]\n'
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("words", "error"),
    [
        ('pross = ["x"]\n', SettingsError),
        ('[[photos]]\nfile = "gone.jpg"\n', FileMissingError),
        ('[[photos]]\nfile = "readings.csv"\n', UnknownFormatError),
        ('[[photos]]\nfile = "board.jpg"\n[[photos]]\nfile = "board.jpg"\n', SettingsError),
    ],
)
def test_wrong_words_are_refused_and_nothing_is_kept_or_written(desk, words, error):
    folder, _ = desk
    (folder / "words.toml").write_text(words, encoding="utf-8")
    with pytest.raises(error):
        tasks.report("otter", words=folder / "words.toml", format=POST)
    store, session = kept_by(desk)
    assert store.remarks(session) is None
    assert not list(folder.glob("*.md"))


def test_a_report_never_lands_on_a_file_that_was_given(desk):
    folder, _ = desk
    words = folder / "otter.md"
    words.write_text(WORDS, encoding="utf-8")
    with pytest.raises(SettingsError, match="written over"):
        tasks.report("otter", words=words, out=folder / "otter", format=POST)
    assert words.read_text(encoding="utf-8") == WORDS


@pytest.mark.parametrize("formats", [("docx",), ("html", "docx"), ()])
def test_a_format_there_is_none_of_is_refused_with_those_there_are(desk, formats):
    with pytest.raises(SettingsError) as refused:
        tasks.report("otter", format=formats)
    assert "html, pdf, md" in refused.value.why


def test_a_folder_that_is_not_there_is_told_before_the_work(desk):
    folder, _ = desk
    lines = []
    with pytest.raises(FileMissingError, match="nowhere"):
        tasks.report("otter", out=folder / "nowhere" / "x", tell=lines.append)
    assert not lines


def test_kept_words_that_were_changed_by_hand_are_told(desk):
    folder, _ = desk
    tasks.report("otter", words=folder / "words.toml", format=POST)
    _, session = kept_by(desk)
    (session.folder / "remarks/0001/words.toml").write_text("pros = []", encoding="utf-8")
    with pytest.raises(ArchiveError, match="not what was kept"):
        tasks.report("otter", format=POST)
    assert tasks.report("otter", words=folder / "words.toml", format=POST).photos == 1


def test_a_session_without_captures_has_a_report_that_says_so(desk):
    folder, _ = desk
    empty = tasks.session_new(folder / "amplifier.toml", folder / "bench.toml").session
    made = tasks.report(empty, format=POST)
    assert "No power at a limit of distortion was measured." in made.found[0]
