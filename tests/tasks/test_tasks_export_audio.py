"""Exported recordings hold every sample: the form is the smallest that does, whatever the numbers are."""

import struct
import tracemalloc

import numpy as np
import pytest
import soundfile

from wattproof.errors import BrokenFileError
from wattproof.tasks import export_audio
from wattproof.tasks.export_audio import AudioForm, audio_form, write_audio
from wattproof.waveform import Channel, MemoryRecording, Waveform

CODES_24 = np.array([-(2**23), -1, 0, 1, 2**23 - 1, 7, 12345, -98765]) / 2**23
CODES_16 = np.array([-(2**15), -1, 0, 1, 2**15 - 1, 7, 12345, -9876]) / 2**15
SINGLE = np.array([0.1, -1.5, 1e-30, 3e8, 1.0, -0.3, 2.0, 0.0], dtype=np.float32).astype(np.float64)
DOUBLE = np.array([0.1, -1.5, 1e-300, 3e200, 1.0, -0.3, 2.0, 0.0])


def recording(values, rate_hz=48000.0, tracks=2):
    samples = np.stack([np.roll(values, k) for k in range(tracks)])
    channels = tuple(Channel(name=str(k + 1)) for k in range(tracks))
    return MemoryRecording(waveform=Waveform(samples=samples, rate_hz=rate_hz, channels=channels), source="made up")


@pytest.mark.parametrize(
    ("values", "rate_hz", "tracks", "container", "coding"),
    [
        (CODES_16, 48000.0, 2, "FLAC", "PCM_16"),
        (CODES_24, 48000.0, 2, "FLAC", "PCM_24"),
        (CODES_24, 192000.0, 8, "FLAC", "PCM_24"),
        (CODES_24, 384000.0, 1, "FLAC", "PCM_24"),
        (CODES_24, 48000.0, 9, "WAV", "FLOAT"),
        (CODES_24, 1e6, 2, "WAV", "FLOAT"),
        (CODES_24, 65537.0, 2, "WAV", "FLOAT"),
        (CODES_24, 48000.5, 2, "WAV", "FLOAT"),
        (CODES_24, 0.5, 1, "WAV", "FLOAT"),
        (np.append(CODES_24, 1.0), 48000.0, 1, "WAV", "FLOAT"),
        (np.append(CODES_24, np.nan), 48000.0, 1, "WAV", "FLOAT"),
        (np.append(CODES_24, 2.0**-24), 48000.0, 1, "WAV", "FLOAT"),
        (SINGLE, 48000.0, 3, "WAV", "FLOAT"),
        (DOUBLE, 48000.0, 3, "WAV", "DOUBLE"),
    ],
)
def test_the_form_fits_and_every_sample_comes_back(tmp_path, values, rate_hz, tracks, container, coding):
    given = recording(values, rate_hz, tracks)
    form = audio_form(given)
    assert (form.container, form.coding) == (container, coding)
    path = tmp_path / f"x{form.suffix}"
    write_audio(given, path, form)
    samples, rate = soundfile.read(path, dtype="float64", always_2d=True)
    assert rate == max(round(rate_hz), 1)
    np.testing.assert_array_equal(samples, given.waveform.samples.T)
    assert soundfile.info(path).subtype == coding


def test_a_code_finer_than_the_first_ones_is_seen_in_a_later_piece(tmp_path, monkeypatch):
    monkeypatch.setattr(export_audio, "BLOCK_SAMPLES", 4)
    for values, coding in (
        ((*CODES_16, *CODES_24), "PCM_24"),
        ((*CODES_16, *CODES_16, 0.1), "DOUBLE"),
        ((*CODES_24, 1.5), "FLOAT"),
        ((0.1, *CODES_16), "DOUBLE"),
    ):
        given = recording(np.array(values))
        form = audio_form(given)
        assert form.coding == coding
        write_audio(given, tmp_path / f"{coding}{form.suffix}", form)


def test_past_4_gib_the_sizes_stand_in_64_bits(tmp_path, monkeypatch):
    monkeypatch.setattr(export_audio, "LARGEST_WAV_BYTES", 40)
    given = recording(SINGLE, tracks=3)
    form = audio_form(given)
    assert form.container == "RF64"
    write_audio(given, tmp_path / "x.wav", form)
    assert soundfile.info(tmp_path / "x.wav").format == "RF64"
    data = (tmp_path / "x.wav").read_bytes()
    assert data[:4] == b"RF64"
    assert struct.unpack("<QQQ", data[20:44]) == (len(data) - 8, 8 * 3 * 4, 8)


def test_a_real_long_one_states_its_length(tmp_path):
    """The head alone, for 5 GiB of samples: the disk is spared."""
    n_samples = 5 * 2**30 // 8
    with (tmp_path / "x.wav").open("wb") as file:
        form = AudioForm(container="RF64", coding="FLOAT")
        export_audio._write_head(file, form, n_tracks=2, rate=96000, item=4, n_samples=n_samples)
        file.truncate(file.tell() + 8 * n_samples)
    found = soundfile.info(tmp_path / "x.wav")
    assert (found.frames, found.channels, found.samplerate) == (n_samples, 2, 96000)


def test_equal_recordings_give_equal_bytes(tmp_path):
    for values in (CODES_24, SINGLE, DOUBLE):
        form = audio_form(recording(values))
        for name in ("a", "b"):
            write_audio(recording(values), tmp_path / name, form)
        assert (tmp_path / "a").read_bytes() == (tmp_path / "b").read_bytes()


def test_what_does_not_come_back_is_refused(tmp_path):
    with pytest.raises(BrokenFileError, match="does not come back"):
        write_audio(recording(DOUBLE[:1]), tmp_path / "x.wav", AudioForm(container="WAV", coding="FLOAT"))
    with pytest.raises(OSError, match="could not be written"):
        write_audio(recording(CODES_24, 1e6), tmp_path / "x.flac", AudioForm(container="FLAC", coding="PCM_24"))


class Endless:
    """Four tracks that are nowhere in memory: each block is made when it is asked for."""

    source, reader, rate_hz, start_s, metadata, notices = "endless", "none", 96000.0, 0.0, {}, ()
    n_samples = 1_500_000
    channels = tuple(Channel(name=str(k)) for k in range(4))

    def __init__(self, step):
        self.step = step

    def blocks(self, samples):
        ramp = (np.arange(samples * 4, dtype=np.float32).reshape(-1, 4) % 999) * np.float32(self.step)
        for start in range(0, self.n_samples, samples):
            yield ramp[: min(samples, self.n_samples - start)]


@pytest.mark.parametrize(("step", "container"), [(2.0**-23, "FLAC"), (0.1, "WAV")])
def test_memory_does_not_grow_with_the_recording(tmp_path, step, container):
    given = Endless(step)
    tracemalloc.start()
    try:
        form = audio_form(given)
        write_audio(given, tmp_path / f"x{form.suffix}", form)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert form.container == container
    assert peak < given.n_samples * 4 * 4 / 2  # half of what the samples would take at their smallest
