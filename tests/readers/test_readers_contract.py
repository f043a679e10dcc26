"""What every reader must do, whoever wrote it: know its own files and no others', and hide nobody."""

import gzip
import io
import zipfile
from importlib.metadata import EntryPoint

import h5py
import numpy as np
import pytest
import scipy.io
import soundfile

from wattproof.errors import BrokenFileError, FileMissingError, InputError, SettingsError, UnknownFormatError
from wattproof.readers import Answers, installed_readers, open_recording, registry

TEXT = b"time (s),load (V)\r\n" + b"".join(b"%.3f,%.4f\r\n" % (n / 1000, n % 7) for n in range(50))


def audio(form, subtype="PCM_16"):
    out = io.BytesIO()
    soundfile.write(out, np.linspace(-0.5, 0.5, 400).reshape(200, 2), 48000, format=form, subtype=subtype)
    return out.getvalue()


def saved(save):
    out = io.BytesIO()
    save(out)
    return out.getvalue()


def hdf5(userblock=0):
    out = io.BytesIO()
    with h5py.File(out, "w", userblock_size=userblock) as file:
        file["v"] = np.arange(200.0)
    return out.getvalue()


def mat73():
    content = bytearray(hdf5(512))
    content[:128] = b"MATLAB 7.3 MAT-file, Platform: TEST".ljust(124) + b"\x00\x02IM"
    return bytes(content)


SAMPLES = {
    "wav": [audio("WAV"), audio("WAVEX", "FLOAT"), audio("RF64"), audio("W64"), b"RIFX\0\0\0\0WAVEfmt "],
    "aiff": [audio("AIFF"), audio("AIFF", "FLOAT")],
    "flac": [audio("FLAC")],
    "npy": [saved(lambda out: np.save(out, np.arange(200.0)))],
    "npz": [saved(lambda out: np.savez(out, v=np.arange(200.0), fs=10.0)),
            saved(lambda out: np.savez_compressed(out, v=np.arange(200.0)))],
    "mat5": [saved(lambda out: scipy.io.savemat(out, {"v": np.arange(200.0), "fs": 10.0})),
             saved(lambda out: scipy.io.savemat(out, {"v": np.arange(200.0)}, do_compression=True))],
    "mat73": [mat73()],
    "hdf5": [hdf5(), hdf5(512)],
    "text": [TEXT, b"\xef\xbb\xbf" + TEXT, TEXT.decode().encode("utf-16"), TEXT.replace(b",", b";")],
}  # fmt: skip


def zipped():
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("word/document.xml", "<x/>")
    return out.getvalue()


STRANGERS = {
    "png": b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR" + bytes(40),
    "jpeg": b"\xff\xd8\xff\xe0\0\x10JFIF\0" + bytes(range(256)),
    "pdf": b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n1 0 obj\n" + bytes(64),
    "zip": zipped(),
    "gzip": gzip.compress(TEXT),
    "elf": b"\x7fELF\x02\x01\x01" + bytes(57),
    "database": b"SQLite format 3\0\x10\0\x01\x01\0\x40\x20\x20" + bytes(84),
    "pickle": b"\x80\x04\x95\x10\0\0\0\0\0\0\0" + bytes(20),
    "avi": b"RIFF\x24\0\0\0AVI LIST" + bytes(64),
    "zeros": bytes(5000),
    "one byte": b"\0",
    "noise": np.random.default_rng(11).bytes(5000),
}

ALL = [(name, content) for name, contents in SAMPLES.items() for content in contents]


def test_every_reader_has_a_sample_here():
    assert set(SAMPLES) >= set(installed_readers())


@pytest.mark.parametrize(("owner", "content"), ALL, ids=[f"{name}-{n}" for n, (name, _) in enumerate(ALL)])
def test_a_reader_knows_its_own_files_and_no_others(owner, content):
    for name, reader in installed_readers().items():
        assert reader.sniff(content[:4096]) is (name == owner), name


@pytest.mark.parametrize("stranger", STRANGERS)
def test_nobody_knows_a_stranger(write, stranger):
    content = STRANGERS[stranger]
    if stranger != "pdf":  # a page starts as text does; the door knows it
        assert [name for name, reader in installed_readers().items() if reader.sniff(content[:4096])] == []
    with pytest.raises(UnknownFormatError) as caught:
        open_recording(write(content))
    assert f"{content[0]:02x}" in caught.value.why
    assert "wav" in caught.value.hint
    assert "flac" in caught.value.hint


@pytest.mark.parametrize(("stranger", "says"), [("png", "PNG picture"), ("pickle", "never opened"), ("elf", "program")])
def test_a_known_stranger_is_named(write, stranger, says):
    with pytest.raises(UnknownFormatError, match=says):
        open_recording(write(STRANGERS[stranger]))


@pytest.mark.parametrize("name", sorted(installed_readers()))
def test_a_reader_s_recording_keeps_its_promises(write, name):
    reader = installed_readers()[name]
    assert reader.name == name
    assert all(suffix.startswith(".") and suffix == suffix.lower() for suffix in reader.suffixes)
    recording = open_recording(write(SAMPLES[name][0]), Answers(rate_hz=48000.0))
    wave = recording.read()
    assert (recording.reader, recording.source) == (name, "reed warbler.dat")
    assert wave.samples.dtype == np.float64
    assert wave.samples.flags.c_contiguous
    assert wave.samples.shape == (len(recording.channels), recording.n_samples)
    assert (wave.rate_hz, wave.start_s) == (recording.rate_hz, recording.start_s)
    for size in (1, 64, 10**6):
        blocks = [block.astype(np.float64) for block in recording.blocks(size)]
        assert all(len(block) == size for block in blocks[:-1])
        np.testing.assert_array_equal(np.concatenate(blocks), wave.samples.T)
    part = recording.read(10, 13)
    np.testing.assert_array_equal(part.samples, wave.samples[:, 10:13])
    assert part.start_s == pytest.approx(wave.start_s + 10 / wave.rate_hz)
    assert recording.read(5, 5).n_samples == 0
    assert recording.read(0, 10**9).n_samples == recording.n_samples


def test_the_suffix_does_not_matter(write):
    for suffix in (".csv", ".wav", ".npz", ""):
        assert open_recording(write(SAMPLES["flac"][0], f"swift{suffix}")).reader == "flac"


class Loud:
    """Knows everything; breaks a tie by its suffix."""

    name, suffixes = "loud", (".loud",)

    def sniff(self, head):
        return True

    def open(self, path, answers):
        raise PermissionError(13, "Permission denied")


@pytest.fixture
def with_plugins(monkeypatch):
    """Replace the installed plug-ins by wav and the given ones."""

    def install(**values):
        entries = [EntryPoint(name="wav", value="wattproof.readers.wav:WavReader", group=registry.GROUP)]
        entries += [EntryPoint(name=name, value=value, group=registry.GROUP) for name, value in values.items()]
        monkeypatch.setattr(registry, "entry_points", lambda group: entries)
        registry._installed.cache_clear()

    yield install
    registry._installed.cache_clear()


def test_a_broken_plug_in_hides_nobody_and_is_named_when_nothing_fits(write, with_plugins):
    with_plugins(broken="no_such_module_anywhere:Reader", odd="json:loads")
    assert list(installed_readers()) == ["wav"]
    assert open_recording(write(SAMPLES["wav"][0])).n_samples == 200
    with pytest.raises(UnknownFormatError) as caught:
        open_recording(write(STRANGERS["png"]))
    assert "broken could not be loaded (ModuleNotFoundError" in caught.value.why
    assert "odd could not be loaded (TypeError" in caught.value.why


def test_a_tie_goes_to_the_suffix(write, monkeypatch):
    both = {"wav": installed_readers()["wav"], "loud": Loud()}
    monkeypatch.setattr(registry, "installed_readers", lambda: both)
    assert open_recording(write(SAMPLES["wav"][0], "wren.wav")).reader == "wav"
    with pytest.raises(FileMissingError, match="Permission denied"):  # a foreign error is translated at the door
        open_recording(write(SAMPLES["wav"][0], "wren.loud"))


def test_files_that_are_not_there_or_not_files(tmp_path):
    empty = tmp_path / "empty.wav"
    empty.touch()
    with pytest.raises(FileMissingError, match=r"Cannot read gone.wav"):
        open_recording(tmp_path / "gone.wav")
    with pytest.raises(FileMissingError, match="folder"):
        open_recording(tmp_path)
    with pytest.raises(BrokenFileError, match="0 bytes"):
        open_recording(empty)
    with pytest.raises(FileMissingError):
        open_recording(tmp_path / "nul\0l.wav")
    with pytest.raises(FileMissingError):
        open_recording(empty / "inside.wav")


@pytest.mark.parametrize("rate_hz", [0.0, -48000.0, float("nan"), float("inf")])
def test_a_rate_that_makes_no_sense_is_refused(write, rate_hz):
    with pytest.raises(SettingsError) as caught:
        open_recording(write(SAMPLES["npy"][0]), Answers(rate_hz=rate_hz))
    assert "--rate-hz" in caught.value.hint


def test_every_fault_of_input_is_an_input_error():
    assert issubclass(SettingsError, InputError)
