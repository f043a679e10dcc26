"""Look-alikes of the shapes that recorders write, each read to the very numbers, or refused with what settles it."""

import json

import numpy as np
import pytest

from wattproof.errors import BrokenFileError, NeedsAnswerError, NotAWaveformError, SettingsError
from wattproof.readers.contract import Answers
from wattproof.readers.text_capture import TextReader, read_text
from wattproof.readers.text_header import split_name
from wattproof.readers.text_units import parse_unit

VOLTS = [0.25, -0.5, 0.75, 1.5, -1.25, 0.125]
HEAD = "Time (s),A (V)\n"


def rows(form="{t:.3f},{v}", values=VOLTS):
    return "".join(form.format(i=i, t=i * 1e-3, v=v) + "\n" for i, v in enumerate(values))


def comma(text):
    return text.replace(".", ",")


def read(text, encoding="utf-8", **answers):
    raw = text if isinstance(text, bytes) else text.encode(encoding)
    return read_text(raw, source="teasel.csv", answers=Answers(**answers))


def codes(recording):
    return {one.code for one in recording.notices}


PLAIN = HEAD + rows()
SHAPES = {
    "comma": PLAIN,
    "semicolon": PLAIN.replace(",", ";"),
    "tab": PLAIN.replace(",", "\t"),
    "bar": PLAIN.replace(",", "|"),
    "blanks": "  Time (s)     A (V)\n" + rows("  {t:.3f}    {v}  "),
    "decimal comma": "Time (s);A (V)\n" + comma(rows("{t:.3f};{v}")),
    "decimal comma, tab": "Time (s)\tA (V)\n" + comma(rows("{t:.3f}\t{v}")),
    "decimal comma in quotes": '"Time (s)","A (V)"\n' + comma(rows('"{t:.3f}";"{v}"')).replace(";", ","),
    "in unit": "in s,A in V\n" + rows(),
    "square brackets": "Time[ms],A[V]\n" + rows("{i},{v}"),
    "unit row": "x-axis,A\nsecond,Volt\n" + rows(),
    "unit row in brackets": "Time;A\n(ms);(V)\n" + rows("{i};{v}"),
    "milli and micro": "Time (us),A (mV)\n" + "".join(f"{i * 1000},{v * 1000}\n" for i, v in enumerate(VOLTS)),
    "sequence": "X,A,Start,Increment,\nSequence,Volt,0.0,1.0e-03\n" + rows("{i},{v},"),
    "first row": "X,A (V),Start,Increment\n"
    + "0,0.25,0.0,1e-3\n"
    + "".join(f"{i},{v}\n" for i, v in enumerate(VOLTS) if i),
    "start and step above": "Start,Increment\n0.0,1.0e-03\nA (V)\n" + rows("{v}"),
    "start and step above, tab": "Start (ms)\tIncrement (ms)\n0\t1\nA (V)\n" + rows("{v}"),
    "start and step above, decimal comma": "Start;Increment\n0;0,001\n\nX;A (V)\n" + comma(rows("{i};{v}")),
    "start and step above a count": "Start,Increment\n0.0,1.0e-03\nX,A (V)\n" + rows("{i},{v}"),
    "rate and points above": "Sample Rate,Record Length\n1 kS/s,6\nA (V)\n" + rows("{v}"),
    "preamble": "Type: plain\nXInc: 1.0E-03\nXOrg: 0.0\nXUnits: Second\nYUnits: Volt\nData:\n" + rows("{v}"),
    "preamble rate": "# Sample rate = 1 kS/s\n# Reed bench\n\nA (V)\n" + rows("{v}"),
    "labels": "Separator\tTab\nDecimal_Separator\t,\n***\t\n"
    "Y_Unit_Label\tVolts\t\nDelta_X\t1,0E-3\t\n***\nX_Value\tA\tComment\n" + comma(rows("\t{v}")),
    "trailing delimiter": "Time (s),A (V)\n" + rows("{t:.3f},{v},"),
    "lone space": "Time (s),A (V)\n" + rows("{t:.3f},{v}, "),
    "empty first name": ",A\nSecond,Volt\n" + rows(),
    "index": "n,Time (s),A (V)\n" + rows("{i},{t:.3f},{v}"),
    "comments": "Time (s),A (V),Remark\n" + rows("{t:.3f},{v},OK"),
    "second time column": "Time (s),A (V),Time (s)\n" + rows("{t:.3f},{v},{t:.3f}"),
    "exponents": HEAD + "".join(f"{i * 1e-3:+.6E}, {v:+.6E}\n" for i, v in enumerate(VOLTS)),
    "old exponents": HEAD + "".join(f"{i * 1e-3:.6E},{v:.6E}\n".replace("E", "D") for i, v in enumerate(VOLTS)),
    "blank lines": HEAD + rows("{t:.3f},{v}\n"),
    "long preamble": "".join(f"Key {i}: value {i * 3}\n" for i in range(3000)) + PLAIN,
    "lead-in table": "Table of ranges\n1,2,3\n4,5,6\n\n" + PLAIN,
    "carriage returns": PLAIN.replace("\n", "\r"),
    "both line ends": PLAIN.replace("\n", "\r\n"),
    "no last line end": PLAIN.rstrip("\n"),
    "zero bytes behind": PLAIN + "\0" * 700,
}


@pytest.mark.parametrize("shape", SHAPES)
def test_every_shape_reads_the_same_record(shape):
    recording = read(SHAPES[shape])
    assert recording.rate_hz == pytest.approx(1000, rel=1e-9)
    assert recording.start_s == 0
    assert [(channel.name, channel.unit) for channel in recording.channels] in ([("A", "V")], [("1", "V")])
    assert recording.read().samples.tolist() == [VOLTS]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "cp1252"])
@pytest.mark.parametrize("micro", ["\u00b5", "\u03bc", "\u00c2\u00b5", "\u00ce\u00bc"])
def test_encodings_and_micro_signs(encoding, micro):
    if encoding == "cp1252" and "\u03bc" in micro:
        pytest.skip("that letter is not in the code page")
    text = f"Time ({micro}s),A (V)\n" + rows("{i},{v}")
    recording = read(text.encode(encoding))
    assert recording.rate_hz == pytest.approx(1e6)
    # The doubly decoded spellings become good UTF-8 again when they are written byte by byte.
    assert ("encoding" in codes(recording)) == (encoding == "cp1252" and len(micro) == 1)


@pytest.mark.shared
def test_case_m09_four_spellings_of_micro(shared_data):
    case = shared_case(shared_data, "M09")
    for spelling, factor in zip(
        case["inputs"]["header_bytes_hex"], case["expected"]["unit_factor"]["value"], strict=True
    ):
        raw = b"Time (" + bytes.fromhex(spelling) + b"),A (V)\n" + rows("{i},{v}").encode()
        assert 1 / read(raw).rate_hz == pytest.approx(factor, rel=1e-12)


@pytest.mark.shared
def test_case_m02_codes_become_volts_by_increment_origin_and_reference(shared_data):
    case = shared_case(shared_data, "M02")["inputs"]
    step = -case["volts_per_div"]["value"] / case["codes_per_div"]
    stated = f"YInc: {step}\nYOrg: {-case['offset']['value']}\nYReference: 125\nYUnits: V\nXInc: 1e-6\nXUnits: s\n"
    recording = read(stated + "".join(f"{code}\n" for code in case["raw"]))
    expected = shared_case(shared_data, "M02")["expected"]["volts"]
    assert recording.read().samples[0] == pytest.approx(expected["value"], abs=expected["tol"])
    assert "raw-codes" in codes(recording)
    assert recording.channels[0].step == abs(step)


def test_codes_under_a_screen_scale_are_not_guessed_into_volts():
    recording = read("Volts/div: 0.5 V\nOffset: -1.5 V\nSample rate: 1 MHz\nA\n125\n100\n150\n")
    assert recording.channels[0].unit is None
    assert recording.read().samples.tolist() == [[125, 100, 150]]
    assert {"codes-unscaled", "unit-unknown"} <= codes(recording)


@pytest.mark.shared
def test_case_m03_a_probe_factor_is_said_and_never_applied(shared_data):
    case = shared_case(shared_data, "M03")
    volts = case["inputs"]["exported"]["value"]
    recording = read(f"Probe: {case['inputs']['probe']}X\n{HEAD}" + rows(values=[volts] * 4))
    said = next(one for one in recording.notices if one.code == "probe-factor")
    assert recording.read().samples.max() == volts
    assert volts * said.numbers["probe_ratio"] == pytest.approx(case["expected"]["volts"]["value"])
    assert said.numbers["power_ratio_if_missed"] == case["expected"]["power_error_factor_if_missed"]["value"]


def shared_case(shared_data, wanted):
    lines = (shared_data / "cases.jsonl").read_text(encoding="utf-8").splitlines()
    return next(case for case in map(json.loads, lines) if case["id"] == wanted)


REFUSALS = {
    "frequency name": ("Frequency (Hz),A (dB)\n" + rows("{i}0,{v}"), NotAWaveformError, "frequency"),
    "frequency unit row": ("X,A\nkHz,V\n" + rows("{i}0,{v}"), NotAWaveformError, "frequency"),
    "decibels": ("gain (dB),phase (deg)\n" + rows("{v},{v}"), NotAWaveformError, "decibels"),
    "log spaced": ("".join(f"{20 * 1.1**i:.6f},{i}.5\n" for i in range(60)), NotAWaveformError, "same ratio"),
    "complex": ("f\n" + rows("{v}+{i}.0j"), NotAWaveformError, "spectrum"),
    "real and imaginary": ("Real,Imag\n" + rows("{v},{v}"), NotAWaveformError, "imaginary"),
    "settings": ("ALPHA\nCh 1 Scale 200mV/, Pos 0.0V\nProbe 1.0 : 1\n", NotAWaveformError, "settings"),
    "only a time": ("Time (s)\n" + rows("{t:.3f}"), NotAWaveformError, "the time"),
    "one row": ("Time (s),A (V)\n0.5,1.5\n", NotAWaveformError, "line 2"),
    "bad cell": (HEAD + rows() + "0.006,1.2.3\n0.007,1.5\n", BrokenFileError, "Line 8, cell 2 is '1.2.3'"),
    "words between": (HEAD + rows() + "stopped here\n" + rows(), BrokenFileError, "Line 8, cell 1 is 'stopped here'"),
    "early words": (HEAD + "0.000,1.5\nstopped here\n" + rows() + rows(), BrokenFileError, "Line 3"),
    "short row": ("Time (s),A (V),B (V)\n0.0,1.5,2.5\n0.1,1.5\n0.2,1.5,2.5\n", BrokenFileError, "Line 3 has 2 cells"),
    "wide row": (HEAD + rows() + "0.006,1,5\n0.007,1.5\n", BrokenFileError, "Line 8 has 3 cells"),
    "two tables": (PLAIN + PLAIN, BrokenFileError, "Line 8"),
    "no time in a row": (HEAD + rows() + ",1.5\n0.007,1.5\n", BrokenFileError, "line 8"),
    "across the page": (",".join(f"{i}.5" for i in range(900)), BrokenFileError, "Line 1"),
    "zero bytes within": (PLAIN + "\0\0\0" + rows(), BrokenFileError, "Line 8"),
    "decimal comma between commas": (HEAD + comma(rows("{t:.3f};{v}")).replace(";", ","), NeedsAnswerError, "4 cells"),
    "thousands or decimals": ("t;v\n0,1;1.234\n0,2;2.500\n", NeedsAnswerError, "1234"),
    "divisions": ("Time (s),A (div)\n" + rows(), NeedsAnswerError, "division"),
    "a unit that shouts": ("Time (MS),A (V)\n" + rows(), NeedsAnswerError, "the time"),
    "two clocks": ("t1 (s),A (V),t2 (s),B (V)\n" + rows("{t:.3f},{v},{i}.5,{v}"), NeedsAnswerError, "own clock"),
    "count in ms or s": (
        "X,A,Start,Increment\nms,V,-0.03,5e-5\n" + rows("{i},{v},,"),
        NeedsAnswerError,
        "in seconds or in ms",
    ),
    "named but no time": ("Position,A (V)\n" + rows(), NeedsAnswerError, "could be a time"),
}


@pytest.mark.parametrize("case", REFUSALS)
def test_what_cannot_be_read_is_refused_with_line_and_reason(case):
    text, kind, reason = REFUSALS[case]
    with pytest.raises(kind) as caught:
        read(text)
    assert type(caught.value) is kind
    assert reason in caught.value.why
    assert caught.value.hint


@pytest.mark.parametrize(
    ("case", "answers", "rate_hz"),
    [
        ("decimal comma between commas", {"decimal": ","}, 1000),
        ("thousands or decimals", {"decimal": ","}, 10),
        ("divisions", {"units": {"A": "0.5 V"}}, 1000),
        ("a unit that shouts", {"time_unit": "ms"}, 1e6),
        ("two clocks", {"time_column": 1}, 1000),
        ("count in ms or s", {"time_unit": "ms"}, 2e7),
        ("named but no time", {"time_column": 1, "time_unit": "s"}, 1000),
        ("named but no time", {"time_column": "Position", "time_unit": "us"}, 1e9),
        ("named but no time", {"time_column": 0, "rate_hz": 48_000.0}, 48_000),
    ],
)
def test_following_the_hint_cures_the_refusal(case, answers, rate_hz):
    assert read(REFUSALS[case][0], **answers).rate_hz == pytest.approx(rate_hz)


def test_pairs_of_cells_become_numbers_when_the_person_says_so():
    recording = read(REFUSALS["decimal comma between commas"][0].replace("0,25", "0,250"), decimal=",")
    assert recording.read().samples.tolist() == [VOLTS]


def test_off_scale_marks_are_counted_kept_and_bound_the_range():
    text = "Time (s),A (mV)\n" + rows(values=[100, "9.91E+37", "OVER", -250, "-inf", "----", 50, "-∞"])
    recording = read(text)
    said = next(one for one in recording.notices if one.code == "off-scale")
    assert said.numbers["samples"] == 5
    assert recording.channels[0].full_scale == 0.25
    assert recording.read().samples[0].tolist() == [0.1, 9.91e37, np.inf, -0.25, -np.inf, np.inf, 0.05, -np.inf]


def test_blank_cells_are_counted_and_stay_no_number():
    recording = read(HEAD + rows(values=[1.5, "", "NaN", 2.5]))
    assert next(one for one in recording.notices if one.code == "nan-samples").numbers["samples"] == 2
    assert np.isnan(recording.read().samples[0]).tolist() == [False, True, True, False]


def test_a_shorter_channel_keeps_the_longer_one_whole():
    recording = read("Time (s),A (V),B (V)\n0.0,1.5,2.5\n0.1,1.5,2.5\n0.2,1.5\n0.3,1.5\n0.4,3.5\n")
    assert recording.read().samples[0].tolist() == [1.5, 1.5, 1.5, 1.5, 3.5]
    assert np.isnan(recording.read().samples[1]).sum() == 3


@pytest.mark.parametrize("tail", ["0.006", "0.006,", "0.006,1.", "0.006,-"])
def test_a_cut_off_last_line_is_left_out_with_a_word(tail):
    text = HEAD + "".join(f"{i * 1e-3:.3f},{v:.3f}\n" for i, v in enumerate(VOLTS))
    recording = read(text + tail)
    assert recording.n_samples == (len(VOLTS) if tail != "0.006," else len(VOLTS) + 1)
    assert codes(recording) & {"cut-off", "nan-samples"}


def test_closing_words_are_left_out_with_a_word():
    recording = read(PLAIN + "End of record\nOperator: Ouzel\n")
    assert recording.n_samples == len(VOLTS)
    assert next(one for one in recording.notices if one.code == "trailing-text").numbers["line"] == 8


def test_no_header_means_no_units_and_a_notice():
    recording = read(rows())
    assert recording.channels[0].unit is None
    assert codes(recording) == {"time-unit-assumed", "unit-unknown"}
    assert read(rows(), units={"1": "V"}, time_unit="s").notices == ()


@pytest.mark.parametrize("delimiter", ["::", "a", '"', "\n"])
def test_a_delimiter_that_can_be_none_is_refused(delimiter):
    with pytest.raises(SettingsError, match="delimiter"):
        read(PLAIN, delimiter=delimiter)
    assert read(PLAIN, delimiter="comma").n_samples == len(VOLTS)


def test_answers_reach_channels_by_name_and_by_number():
    text = "Time (s),A,B\n" + rows("{t:.3f},{v},{v}")
    recording = read(text, units={"A": "mV", "2": "A"})
    assert [channel.unit for channel in recording.channels] == ["V", "A"]
    assert recording.read().samples[0] == pytest.approx(np.array(VOLTS) / 1000)
    with pytest.raises(NeedsAnswerError, match="furlong"):
        read(text, units={"A": "furlong"})


def test_a_letter_as_a_name_is_no_unit():
    assert [channel.unit for channel in read("Time (s),A,B\n" + rows("{t:.3f},{v},{v}")).channels] == [None, None]


def test_unknown_units_are_kept_as_written():
    recording = read("Time (s),A [bar],B (left)\n" + rows("{t:.3f},{v},{v}"))
    assert [(channel.name, channel.unit) for channel in recording.channels] == [("A", "bar"), ("B (left)", None)]


def test_names_that_do_not_fit_the_columns_are_not_shifted():
    recording = read("A,B\n" + rows("{t:.3f},{v},{v}"))
    assert [channel.name for channel in recording.channels] == ["1", "2"]
    assert "names-unclear" in codes(recording)


def test_interpolated_and_peak_records_are_said():
    assert "interpolated-samples" in codes(read("Type: interpolation\n" + PLAIN))
    assert "peak-samples" in codes(read("Acquisition mode: Peak detect\n" + PLAIN))


@pytest.mark.parametrize(
    ("text", "name", "unit"),
    [
        ("Time (ms)", "Time", "ms"),
        ("C1 in V", "C1", "V"),
        ("in s", "", "s"),
        ("CH1[mV]", "CH1", "mV"),
        ("U / V", "U", "V"),
        ("time_us", "time", "us"),
        ("Volt", "Volt", "Volt"),
        ("Load (Trigger)", "Load (Trigger)", ""),
        ("A", "A", ""),
    ],
)
def test_names_part_from_their_units(text, name, unit):
    assert split_name(text) == (name, unit)


@pytest.mark.parametrize(
    ("text", "symbol", "scale"),
    [
        ("mV", "V", 1e-3),
        ("Volts", "V", 1.0),
        ("(us)", "s", 1e-6),
        ("\u00b5A", "A", 1e-6),
        ("kA", "A", 1e3),
        ("milliseconds", "s", 1e-3),
        ("Newtons", "N", 1.0),
        ("0.5 V", "V", 0.5),
        ("h", "s", 3600.0),
        ("\u2126", "ohm", 1.0),
        ("MHz", "Hz", 1e6),
    ],
)
def test_units_in_their_spellings(text, symbol, scale):
    unit = parse_unit(text)
    assert unit is not None
    assert (unit.symbol, unit.scale) == (symbol, pytest.approx(scale))


@pytest.mark.parametrize("text", ["", "MV", "MS", "furlong", "m", "k", "div", "dB", "0 V"])
def test_what_is_no_unit_is_not_made_one(text):
    assert parse_unit(text) is None


def test_the_reader_says_no_to_binary_files_and_yes_to_text():
    reader = TextReader()
    assert reader.sniff(PLAIN.encode())
    assert reader.sniff(PLAIN.encode("utf-16"))
    assert not reader.sniff(b"RIFF\x24\x00\x00\x00WAVEfmt \x10\x00\x00\x00")
    assert not reader.sniff(b"\x89HDF\r\n\x1a\n\x00\x00")
    assert not reader.sniff(b"no digits in here")
    assert not reader.sniff(b"")


def test_start_and_step_right_above_the_samples_are_no_sample():
    recording = read("Start,Increment\n-0.03,5e-5\n" + rows("{v}"))
    assert (recording.rate_hz, recording.start_s) == (pytest.approx(20_000), -0.03)
    assert recording.read().samples.tolist() == [VOLTS]
    assert {"Start": "-0.03", "Increment": "5e-5"}.items() <= recording.metadata.items()
    two = read("Start,Increment\n-0.03,5e-5\n" + rows("{v},{i}.5"))
    assert two.read().samples.tolist() == [VOLTS, [i + 0.5 for i in range(len(VOLTS))]]
    assert not {"Start", "Increment"} & {channel.name for channel in two.channels}


def test_a_column_that_is_named_like_a_clock_word_stays_a_column():
    recording = read("Time (s),Start\n" + rows())
    assert [channel.name for channel in recording.channels] == ["Start"]
    assert recording.n_samples == len(VOLTS)
