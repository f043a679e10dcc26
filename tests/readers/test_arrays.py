"""Arrays of every kind: which axis is time, where the clock is, and what is asked for instead of guessed."""

import pickle  # noqa: TID251 - to make the hostile file that must not be opened
import struct
import zipfile
import zlib

import h5py
import numpy as np
import pytest
import scipy.io

from wattproof.errors import BrokenFileError, InputError, NeedsAnswerError, NotAWaveformError
from wattproof.readers import Answers, open_recording, summarize
from wattproof.readers import hdf5 as hdf5_reader

N = 500
TIMES_S = 2.0 + np.arange(N) / 1000
RATE = Answers(rate_hz=1000.0)


@pytest.fixture
def pair():
    return np.random.default_rng(5).normal(size=(N, 2))


def codes(recording):
    return {one.code for one in recording.notices}


@pytest.fixture
def npy(tmp_path):
    def save(array, **more):
        np.save(tmp_path / "siskin.npy", array, **more)
        return tmp_path / "siskin.npy"

    return save


@pytest.fixture
def npz(tmp_path):
    def save(**arrays):
        np.savez_compressed(tmp_path / "siskin.npz", **arrays)
        return tmp_path / "siskin.npz"

    return save


@pytest.fixture
def mat(tmp_path):
    def save(variables, **more):
        scipy.io.savemat(tmp_path / "siskin.mat", variables, **more)
        return tmp_path / "siskin.mat"

    return save


@pytest.fixture
def hdf5(tmp_path):
    def save(fill):
        with h5py.File(tmp_path / "siskin.h5", "w") as file:
            fill(file)
        return tmp_path / "siskin.h5"

    return save


def as_mat73(path, variables):
    with h5py.File(path, "w", userblock_size=512) as file:
        for name, (kind, values) in variables.items():
            file[name] = np.asarray(values).T
            file[name].attrs["MATLAB_class"] = np.bytes_(kind)
    content = bytearray(path.read_bytes())
    content[:128] = b"MATLAB 7.3 MAT-file, Platform: TEST".ljust(124) + b"\x00\x02IM"
    path.write_bytes(content)
    return path


# --- one array


@pytest.mark.parametrize("dtype", ["<f8", ">f8", "<f4", ">f4", "<f2", "<i2", ">i4", "<u1", "<i8"])
@pytest.mark.parametrize("layout", [np.ascontiguousarray, np.asfortranarray, lambda array: array.T.copy()])
def test_any_number_type_and_either_axis_order(npy, pair, dtype, layout):
    array = (np.abs(pair) * 20).astype(dtype)
    recording = open_recording(npy(layout(array)), RATE)
    wave = recording.read()
    np.testing.assert_array_equal(wave.samples, array.T.astype(np.float64))
    assert wave.samples.flags.c_contiguous
    assert (wave.rate_hz, [one.name for one in wave.channels]) == (1000.0, ["1", "2"])
    np.testing.assert_array_equal(np.concatenate(list(recording.blocks(33))), array.astype(np.float64))
    np.testing.assert_array_equal(recording.read(10, 20).samples, array.T[:, 10:20].astype(np.float64))


def test_an_array_without_a_clock_asks_and_the_hint_cures_it(npy, pair):
    path = npy(pair)
    with pytest.raises(NeedsAnswerError) as caught:
        open_recording(path)
    assert "--rate-hz 48000" in caught.value.hint
    assert open_recording(path, Answers(rate_hz=48000.0)).rate_hz == 48000.0


def test_a_first_column_that_looks_like_time_is_named_in_the_question_not_taken(npy, pair):
    path = npy(np.column_stack([TIMES_S * 1e3, pair]))
    with pytest.raises(NeedsAnswerError) as caught:
        open_recording(path)
    assert "--time-column 1" in caught.value.why
    recording = open_recording(path, Answers(time_column=1, time_unit="ms"))
    assert (recording.rate_hz, recording.start_s) == (pytest.approx(1000.0, rel=1e-12), pytest.approx(2.0))
    np.testing.assert_array_equal(recording.read().samples, pair.T)


def test_units_are_the_person_s_word(npy, pair):
    recording = open_recording(npy(pair), Answers(rate_hz=1.0, units={"2": "A"}))
    assert [one.unit for one in recording.channels] == [None, "A"]


@pytest.mark.parametrize(
    ("array", "says"),
    [
        (np.zeros(10, dtype=complex), "complex numbers"),
        (np.array(["a", "b"]), "text"),
        (np.zeros((5, 6, 7)), "3 axes"),
        (np.array(1.0), "one number"),
        (np.zeros(0), "no values"),
        (np.zeros(10, dtype=bool), "yes/no"),
        (np.zeros(10, dtype="M8[s]"), "dates"),
    ],
)
def test_what_is_no_record_is_refused_with_the_reason(npy, array, says):
    with pytest.raises(NotAWaveformError) as caught:
        open_recording(npy(array), RATE)
    assert says in caught.value.why


def test_pickled_objects_are_refused_and_never_run(npy, npz, tmp_path):
    ran = tmp_path / "ran"

    class Hostile:
        def __reduce__(self):
            return (ran.touch, ())

    for path in (npy(np.array([Hostile()]), allow_pickle=True), npz(v=np.array([Hostile()], dtype=object))):
        with pytest.raises(NotAWaveformError) as caught:
            open_recording(path, RATE)
        assert "objects" in caught.value.why
    bare = tmp_path / "bare.npy"
    bare.write_bytes(pickle.dumps(Hostile()))
    with pytest.raises(Exception, match="No reader knows"):
        open_recording(bare, RATE)
    assert not ran.exists()


def test_a_picture_is_no_record_and_a_squat_array_is_doubtful(npy):
    with pytest.raises(NotAWaveformError, match="300 x 400"):
        open_recording(npy(np.zeros((300, 400))), RATE)
    assert codes(open_recording(npy(np.zeros((6, 4))), RATE)) == {"axes-doubtful"}


def test_a_cut_off_npy_file_gives_what_is_there(npy, pair):
    path = npy(pair)
    path.write_bytes(path.read_bytes()[:-1000])
    recording = open_recording(path, RATE)
    assert codes(recording) == {"cut-off"}
    np.testing.assert_array_equal(recording.read().samples, pair.T[:, : N - 63])  # 1000 bytes cut 62.5 rows of 16
    across = npy(np.ascontiguousarray(pair.T))
    across.write_bytes(across.read_bytes()[:-1000])
    with pytest.raises(BrokenFileError, match="cut off"):
        open_recording(across, RATE)


def test_the_fields_of_a_table_are_channels(npy, pair):
    table = np.zeros(N, dtype=[("time_ms", "f8"), ("volts", "f8"), ("amps", "f4")])
    table["time_ms"], table["volts"], table["amps"] = TIMES_S * 1e3, pair[:, 0], 3.0
    path = npy(table)
    for answers in (Answers(), Answers(time_column="time_ms", time_unit="ms"), Answers(time_column=1, time_unit="ms")):
        recording = open_recording(path, answers)
        assert recording.rate_hz == pytest.approx(1000.0, rel=1e-12)
        assert [one.name for one in recording.channels] == ["volts", "amps"]
        np.testing.assert_array_equal(recording.read().samples[0], pair[:, 0])
        assert recording.notices == ()


# --- several named arrays


@pytest.mark.parametrize(
    ("clock", "rate_hz"),
    [
        ({"fs": 1000}, 1000.0), ({"sample_rate": 96e3}, 96e3), ({"SampleRate": 8e3}, 8e3), ({"rate_hz": 7.0}, 7.0),
        ({"fs_khz": 48}, 48e3), ({"dt": 1e-4}, 1e4), ({"dt_us": 10.0}, 1e5), ({"sample_interval": 0.5}, 2.0),
    ],
)  # fmt: skip
def test_rates_and_intervals_are_known_by_name(npz, mat, pair, clock, rate_hz):
    for path in (npz(v=pair, **clock), mat({"v": pair, **clock})):
        recording = open_recording(path)
        assert recording.rate_hz == pytest.approx(rate_hz, rel=1e-12)
        assert recording.n_samples == N


def test_vectors_beside_one_time_are_one_record(npz, mat, hdf5, pair):
    arrays = {"t": TIMES_S, "v": pair[:, 0], "i": pair[:, 1]}

    def fill(file):
        for name, values in arrays.items():
            file[f"run/{name}"] = values

    for path in (npz(**arrays), mat(arrays), hdf5(fill)):
        recording = open_recording(path)
        assert sorted(one.name for one in recording.channels) == ["i", "v"]
        assert (recording.rate_hz, recording.start_s) == (pytest.approx(1000.0, rel=1e-12), 2.0)
        assert codes(recording) == {"variables-joined", "time-unit-assumed"}
        assert codes(open_recording(path, Answers(time_unit="s"))) == {"variables-joined"}


@pytest.mark.parametrize("clock", [{"dt": 5e-324}, {"fs": 1e300}, {"fs": np.nan}, {"fs": -48000.0}, {"dt": 0.0}])
def test_a_clock_that_is_a_broken_number_is_no_clock(npz, pair, clock):
    path = npz(v=pair, **clock)
    with pytest.raises(NeedsAnswerError):
        open_recording(path)
    path = npz(v=pair, t=np.linspace(0, 5e-324, N))
    with pytest.raises(BrokenFileError):
        open_recording(path)


def test_several_records_are_asked_about_and_listed(npz, hdf5, pair):
    def fill(file):
        file["first"], file["second"] = pair[:, 0], pair[: N // 2, 1]

    for path in (npz(first=pair[:, 0], second=pair[: N // 2, 1]), hdf5(fill)):
        with pytest.raises(NeedsAnswerError) as caught:
            open_recording(path, RATE)
        assert "first (500), second (250)" in caught.value.why
        assert "--dataset first" in caught.value.hint
        recording = open_recording(path, Answers(rate_hz=1000.0, dataset="second"))
        np.testing.assert_array_equal(recording.read().samples[0], pair[: N // 2, 1])
        with pytest.raises(BrokenFileError, match="differ in length"):
            open_recording(path, Answers(rate_hz=1000.0, dataset="first,second"))
        with pytest.raises(NeedsAnswerError, match="third"):
            open_recording(path, Answers(rate_hz=1000.0, dataset="third"))


def test_a_rate_that_contradicts_the_times_is_reported(npz, pair):
    recording = open_recording(npz(t=TIMES_S, v=pair[:, 0], fs=1100.0), Answers(time_unit="s"))
    assert recording.rate_hz == pytest.approx(1000.0)
    assert codes(recording) == {"rate-contradicts"}


def test_times_that_are_uneven_are_reported_and_backwards_ones_refused(npz, pair):
    gap = TIMES_S + np.where(np.arange(N) >= 250, 0.1, 0.0)
    recording = open_recording(npz(t=gap, v=pair[:, 0]), Answers(time_unit="s"))
    (found,) = recording.notices
    assert found.code == "uneven-time"
    # A gap of 100 samples in the middle of an even clock: half of it is missed on either side.
    assert found.numbers["largest_deviation_samples"] == pytest.approx(50, rel=0.2)
    twice = np.concatenate([TIMES_S[: N // 2], TIMES_S[N // 2 - 10 : -10]])
    for times, says in [(twice, "backwards"), (TIMES_S[::-1], "do not rise"), (TIMES_S * np.nan, "do not rise")]:
        path = npz(t=times, v=pair[:, 0])
        with pytest.raises(BrokenFileError, match=says):
            open_recording(path)


def test_following_the_hint_about_times_that_do_not_rise_cures_it(npz, pair):
    path = npz(t=TIMES_S * 0, v=pair[:, 0])
    with pytest.raises(BrokenFileError) as caught:
        open_recording(path)
    assert "--time-column 0" in caught.value.hint
    answers = Answers(time_column=0, rate_hz=1000.0, dataset="v")
    assert open_recording(path, answers).rate_hz == 1000.0


# --- HDF5 and MAT


def test_attributes_give_rate_start_and_unit(hdf5, pair):
    def fill(file):
        data = file.create_dataset("bench/load", data=pair, chunks=True, compression="gzip")
        data.attrs["sample_rate"] = 1000
        data.attrs["unit"] = "V"
        file["bench"].attrs["t0"] = 3.5

    recording = open_recording(hdf5(fill))
    assert (recording.rate_hz, recording.start_s, recording.notices) == (1000.0, 3.5, ())
    assert [(one.name, one.unit) for one in recording.channels] == [("1", "V"), ("2", "V")]
    np.testing.assert_array_equal(recording.read().samples, pair.T)
    np.testing.assert_array_equal(np.concatenate(list(recording.blocks(64))), pair)


def test_a_data_set_that_claims_more_than_the_file_holds_is_no_record(hdf5):
    def fill(file):
        file.create_dataset("plain", shape=(10**12,), dtype="f8")
        file.create_dataset("packed", shape=(10**12,), dtype="f8", chunks=(1000,), compression="gzip")

    with pytest.raises(NotAWaveformError) as caught:
        open_recording(hdf5(fill), RATE)
    assert caught.value.why.count("8000000000000 bytes claimed, 0 stored") == 2


def test_data_kept_in_another_file_is_not_fetched(hdf5, tmp_path):
    (tmp_path / "secret").write_bytes(bytes(800))

    def fill(file):
        file.create_dataset("v", shape=(100,), dtype="f8", external=[(str(tmp_path / "secret"), 0, 800)])
        file["elsewhere"] = h5py.ExternalLink("other.h5", "/v")

    with pytest.raises(NotAWaveformError) as caught:
        open_recording(hdf5(fill), RATE)
    assert "another file" in caught.value.why


@pytest.mark.parametrize(
    ("script", "says"), [("import time; time.sleep(60)", "does not end"), ("import os; os.abort()", "crashes")]
)
def test_a_file_that_hangs_or_crashes_its_library_is_broken_not_fatal(hdf5, monkeypatch, tmp_path, script, says):
    def fill(file):
        file["v"] = np.arange(10.0)

    (tmp_path / "probe.py").write_text(script, encoding="utf-8")
    path = hdf5(fill)
    assert open_recording(path, RATE).n_samples == 10
    monkeypatch.setattr(hdf5_reader, "PROBE", tmp_path / "probe.py")
    monkeypatch.setattr(hdf5_reader, "PROBE_S", 2)
    with pytest.raises(BrokenFileError) as caught:
        open_recording(path, RATE)
    assert says in caught.value.why


def test_mat_73_is_read_as_mat_5_is(tmp_path, mat, pair):
    new = as_mat73(
        tmp_path / "new.mat",
        {"v": ("double", pair), "fs": ("double", [[1000.0]]), "note": ("char", np.array([[65, 66]], dtype="u2"))},
    )
    old = mat({"v": pair, "fs": 1000.0, "note": "AB"}, do_compression=True)
    readers = []
    for path in (old, new):
        recording = open_recording(path)
        readers.append(recording.reader)
        assert recording.rate_hz == 1000.0
        np.testing.assert_array_equal(recording.read().samples, pair.T)
    assert readers == ["mat5", "mat73"]


@pytest.mark.parametrize(
    ("value", "says"),
    [({"a": 1.0}, "a structure"), (np.array(["x", 1.0], dtype=object), "a cell array"), ("text", "text")],
)
def test_mat_variables_that_are_no_numbers_are_refused(mat, value, says):
    with pytest.raises(NotAWaveformError) as caught:
        open_recording(mat({"thing": value}), RATE)
    assert says in caught.value.why


def test_a_complex_mat_variable_is_refused(mat, pair):
    with pytest.raises(NotAWaveformError) as caught:
        open_recording(mat({"z": pair[:, 0] + 1j}), RATE)
    assert "complex" in caught.value.why


# --- bombs


def test_an_archive_that_unpacks_to_more_than_memory_should_hold_is_refused(tmp_path):
    path = tmp_path / "bomb.npz"
    header = b"{'descr': '<f8', 'fortran_order': False, 'shape': (536870912,), }".ljust(117) + b"\n"
    member = b"\x93NUMPY\x01\x00" + struct.pack("<H", len(header)) + header
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("v.npy", member)
    with pytest.raises(NotAWaveformError) as caught:  # the archive itself says how little it holds
        open_recording(path, RATE)
    assert "cut off" in caught.value.why


def test_a_mat_variable_with_absurd_sides_is_refused(mat, pair):
    path = mat({"v": pair[:, :1]})
    content = bytearray(path.read_bytes())
    at = content.index(struct.pack("<ii", N, 1))
    for sides in ((2**31 - 1, 1), (50_000_000, 1), (N + 1, 1), (2**31 - 1, 2**31 - 1)):
        content[at : at + 8] = struct.pack("<ii", *sides)
        path.write_bytes(content)
        with pytest.raises(BrokenFileError):
            open_recording(path, RATE)


def test_a_packed_mat_variable_with_absurd_sides_is_refused(tmp_path, mat, pair):
    content = mat({"v": pair[:, :1]}).read_bytes()
    inner = bytearray(content[128:])
    at = inner.index(struct.pack("<ii", N, 1))
    inner[at : at + 8] = struct.pack("<ii", 2**31 - 1, 1)
    packed = zlib.compress(bytes(inner))
    path = tmp_path / "packed.mat"
    path.write_bytes(content[:128] + struct.pack("<II", 15, len(packed)) + packed)
    with pytest.raises(BrokenFileError, match="4000 bytes for 2147483647 values"):
        open_recording(path, RATE)


def test_an_npy_header_that_claims_the_moon_gives_what_is_there_or_is_refused(npy):
    path = npy(np.arange(10.0))
    content = path.read_bytes()

    def claim(shape):
        room = len(b"(10,), }") + len(b" " * 30)
        return content.replace(b"(10,), }" + b" " * 30, (shape + b", }").ljust(room), 1)

    path.write_bytes(claim(b"(99999999999999999999,)"))
    recording = open_recording(path, RATE)
    assert codes(recording) == {"cut-off"}
    assert recording.read().samples.tolist() == [list(range(10))]
    for shape in (b"(2, 99999999999999999999)", b"(10**30,)", b"(-10,)", b"(True,)"):
        path.write_bytes(claim(shape))
        with pytest.raises(InputError):
            open_recording(path, RATE)


def test_a_long_array_is_summarized_from_disk(tmp_path):
    path = tmp_path / "long.npy"
    array = np.lib.format.open_memmap(path, mode="w+", dtype="<f4", shape=(300_000, 4))
    array[:, 2] = 1.5
    array.flush()
    summary = summarize(open_recording(path, RATE))
    assert [one.mean for one in summary.channels] == [0.0, 0.0, 1.5, 0.0]
