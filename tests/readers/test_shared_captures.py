"""Audio and array files that nobody here wrote, against figures that nobody here computed."""

import json

import pytest

from wattproof.errors import BrokenFileError, NeedsAnswerError
from wattproof.readers import Answers, open_recording, summarize

pytestmark = pytest.mark.shared

NOTICES = {
    "sound_card_sweep_20_20k_pcm16_48k.wav": set(),
    "wav_extensible_24_in_32.wav": {"upper-bits-unused"},
    "wav_extensible_float.wav": {"above-full-scale"},
    "wav_junk_bext_chunks.wav": {"file-size"},
    "wav_rf64_small.wav": set(),
    "wav_early_eof.wav": {"cut-off"},
    "flac_sweep.flac": set(),
}


@pytest.mark.parametrize("name", sorted(NOTICES))
def test_audio_reads_as_expected(shared_data, name):
    expected = json.loads((shared_data / "captures" / "expected.json").read_text(encoding="utf-8"))[name]
    recording = open_recording(shared_data / "captures" / name)
    summary = summarize(recording)
    assert (summary.samples, summary.sample_rate_hz) == (expected["n"], expected["fs"])
    for one, truth in zip(summary.channels, expected["ch"].values(), strict=True):
        for figure in ("mean", "rms", "min", "max"):
            assert getattr(one, figure) == pytest.approx(truth[figure], rel=1e-12, abs=1e-15), figure
        assert (one.unit, one.clipped) == (truth.get("unit", "FS"), 0)
    for position, frame in enumerate(expected.get("first", [])):
        assert recording.read(position, position + 1).samples[:, 0].tolist() == frame
    assert {one.code for one in summary.warnings} == NOTICES[name]


def test_the_file_whose_header_contradicts_itself_gives_five_frames_and_says_so(shared_data):
    recording = open_recording(shared_data / "captures" / "wav_24bit_inconsistent_header.wav")
    assert (recording.n_samples, len(recording.channels)) == (5, 3)
    assert [one.code for one in recording.notices] == ["frame-size"]


def test_an_array_without_a_clock_asks_for_it_and_following_the_hint_cures_it(shared_data):
    path = shared_data / "captures" / "converter_current_v5.mat"
    with pytest.raises(NeedsAnswerError, match="samples there are in a second") as caught:
        open_recording(path)
    assert "--rate-hz" in caught.value.hint
    recording = open_recording(path, Answers(rate_hz=1.0))
    (one,) = summarize(recording).channels
    assert (recording.n_samples, recording.rate_hz, one.name) == (2000, 1.0, "I")


def test_a_cut_in_the_middle_of_a_real_file(shared_data, tmp_path):
    content = (shared_data / "captures" / "wav_rf64_small.wav").read_bytes()
    path = tmp_path / "cut.wav"
    path.write_bytes(content[:9000])
    assert [one.code for one in open_recording(path).notices] == ["cut-off"]
    path.write_bytes(content[:100])
    with pytest.raises(BrokenFileError):
        open_recording(path)
