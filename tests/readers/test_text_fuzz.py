"""Any bytes give an answer or a refusal; any table in any dialect comes back exactly; no wrong rate without a word."""

import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wattproof.errors import InputError
from wattproof.readers.contract import Answers
from wattproof.readers.text_capture import TextReader, read_text

QUICK = settings(max_examples=50, deadline=None)
DELIMITERS = [",", ";", "\t", "|", "  "]
UNITS = {"s": 0, "ms": 3, "us": 6, "\u00b5s": 6, "\u03bcs": 6}
# All that a person can be told about a record's clock or length.
DOUBTS = {
    *("repeated-time", "coarse-time", "drifting-time", "uneven-time", "rate-contradicts", "rate-overruled"),
    *("time-unit-assumed", "length-contradicts", "cut-off", "trailing-text", "past-midnight"),
}
volts = st.floats(min_value=-1e6, max_value=1e6).map(lambda value: float(f"{value:.7e}"))


@st.composite
def dialects(draw):
    decimal = draw(st.sampled_from(".,"))
    delimiter = draw(st.sampled_from([mark for mark in DELIMITERS if mark != "," or decimal == "."]))
    return {
        "delimiter": delimiter,
        "decimal": decimal,
        "encoding": draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-be", "cp1252"])),
        "line_end": draw(st.sampled_from(["\n", "\r\n", "\r"])),
        "preamble": draw(
            st.lists(st.sampled_from(["# Reed bench", "Operator: Ouzel", "", "Range = 20 V"]), max_size=6)
        ),
        "trailing": draw(st.booleans()) and delimiter != "  ",
        "unit_row": draw(st.booleans()),
        "form": draw(st.sampled_from(["{:.7e}", "{:+.7E}", "{:.9e}"])),
        "ended": draw(st.booleans()),
    }


def render(table, *, time_unit, dialect):
    mark, tail = dialect["delimiter"], dialect["delimiter"] if dialect["trailing"] else ""
    names = ["Time", *[f"K{index}" for index in range(1, len(table))]]
    units = [time_unit, *["V"] * (len(table) - 1)]
    if dialect["unit_row"]:
        heads = [mark.join(names), mark.join(units)]
    else:
        heads = [mark.join(f"{name} ({unit})" for name, unit in zip(names, units, strict=True))]
    rows = [mark.join(dialect["form"].format(cell).replace(".", dialect["decimal"]) for cell in row) for row in table.T]
    lines = [*dialect["preamble"], *(head + tail for head in heads), *(row + tail for row in rows)]
    return (dialect["line_end"].join(lines) + dialect["line_end"] * dialect["ended"]).encode(dialect["encoding"])


@QUICK
@given(
    dialect=dialects(),
    unit=st.sampled_from(list(UNITS)),
    step=st.integers(1, 9),
    channels=st.lists(st.lists(volts, min_size=12, max_size=12), min_size=1, max_size=4),
)
def test_a_table_in_any_dialect_comes_back_exactly(dialect, unit, step, channels):
    if dialect["encoding"] == "cp1252" and "\u03bc" in unit:
        unit = "us"
    times = np.arange(12) * step / 10
    raw = render(np.array([times, *channels]), time_unit=unit, dialect=dialect)
    recording = read_text(raw, source="sedge.csv", answers=Answers())
    assert recording.read().samples.tolist() == channels
    assert recording.rate_hz == pytest.approx(10.0 ** (UNITS[unit] + 1) / step, rel=1e-9)
    assert [(channel.name, channel.unit) for channel in recording.channels] == [
        (f"K{index + 1}", "V") for index in range(len(channels))
    ]
    assert {one.code for one in recording.notices} <= {"encoding"}


def opens_or_refuses(raw, **answers):
    started, refusal = time.perf_counter(), None
    TextReader().sniff(raw[:4096])
    try:
        recording = read_text(raw, source="sedge.csv", answers=Answers(**answers))
    except InputError as error:
        refusal = error
    assert time.perf_counter() - started < 10
    if refusal is not None:
        assert refusal.why
        assert refusal.hint
        return None
    assert np.isfinite(recording.rate_hz)
    assert recording.rate_hz > 0
    assert recording.read().samples.shape == (len(recording.channels), recording.n_samples)
    return recording


@QUICK
@given(raw=st.binary(max_size=400))
def test_any_bytes_give_an_answer_or_a_refusal(raw):
    opens_or_refuses(raw)


# Parted by tildes, which no recorder writes.
LIKELY = (
    "0~1~-1.5~2,5~1e-9~9.91E+37~~ ~nan~inf~OVER~----~Time (s)~V~ms~A (V)~Hz~# x=1~XInc: 1e-6~12:00:01.5~2031-05-14~"
    '1.234.567~"~1+2j~div~\u00b5s~Increment~1e400'
)
CELLS = st.sampled_from(LIKELY.split("~"))


@settings(max_examples=150, deadline=None)
@given(
    lines=st.lists(st.lists(CELLS, max_size=5), max_size=14),
    mark=st.sampled_from([",", ";", "\t", "|", " "]),
    answers=st.fixed_dictionaries(
        {},
        optional={
            "rate_hz": st.just(48_000.0),
            "decimal": st.sampled_from([".", ","]),
            "delimiter": st.sampled_from([",", ";", "tab", "::", ""]),
            "time_column": st.sampled_from([0, 1, 2, "Time"]),
            "time_unit": st.sampled_from(["s", "ms", "ells"]),
        },
    ),
)
def test_any_table_of_likely_cells_gives_an_answer_or_a_refusal(lines, mark, answers):
    opens_or_refuses("\n".join(mark.join(cells) for cells in lines).encode(), **answers)


@QUICK
@given(text=st.text(alphabet="0123456789.,;:eE+-()[] \t\n\"'#=AVs\u00b5/", max_size=300))
def test_any_text_of_likely_letters_gives_an_answer_or_a_refusal(text):
    opens_or_refuses(text.encode())


@pytest.mark.parametrize(
    "raw",
    [
        b"1" * 60_000 + b"\n" + b"1" * 60_000,
        b"a (" * 20_000 + b"\n1,2\n3,4\n",
        b"(" * 50_000 + b" in " * 3000 + b"\n1.5,2.5\n3.5,4.5\n",
        b" " * 60_000 + b"1.5\n" * 3,
        (b"a" * 100 + b": " + b"1" * 5000 + b"\n") * 200 + b"0.5,1.5\n1.0,2.5\n1.5,2.5\n",
        b"1,23" * 200 + b"\n" + b"\xb5" * 5000,
        b"\n" * 100_000 + b"0.5,1.5\n1.0,2.5\n",
        b'"' * 9999 + b"\n0.5,1.5\n1.0,2.5\n",
    ],
    ids=["digits", "brackets", "in", "blanks", "keys", "groups", "empty lines", "quotes"],
)
def test_no_line_makes_the_reader_hang(raw):
    opens_or_refuses(raw)


@settings(max_examples=100, deadline=None)
@given(data=st.data())
def test_a_rate_is_never_wrong_without_a_word(data):
    step_s = data.draw(st.sampled_from([1e-3, 2.5e-5, 1 / 44_100, 1.25e-9]), label="step")
    n = data.draw(st.integers(40, 200), label="n")
    times = np.arange(n) * step_s
    fault = data.draw(
        st.sampled_from(["digits", "rows lost", "row twice", "float32", "unit changes", "spliced", "drift"])
    )
    where = data.draw(st.integers(5, n - 6), label="where")
    form = "{:.12e}"
    if fault == "digits":
        form = data.draw(st.sampled_from(["{:.1e}", "{:.2e}", "{:.3e}", "{:.5f}", "{:.7f}"]), label="form")
    elif fault == "rows lost":
        times = np.delete(times, slice(where, where + data.draw(st.integers(1, 5))))
    elif fault == "row twice":
        times = np.insert(times, where, times[where])
    elif fault == "float32":
        times = np.float32(times + data.draw(st.sampled_from([0.0, 1.0, 1000.0]))).astype(float)
    elif fault == "unit changes":
        times = np.where(np.arange(n) < where, times * 1000, times)
    elif fault == "spliced":
        times = np.concatenate([times[:where], times[: n - where]])
    else:
        times = times * (1 + 1e-3 * np.arange(n) / n)
        step_s = times[-1] / (n - 1)  # a clock that drifts has no other rate than its mean
    raw = ("Time (s),A (V)\n" + "".join(f"{form.format(t)},{i % 9}.5\n" for i, t in enumerate(times))).encode()
    recording = opens_or_refuses(raw)
    if recording is not None and not {one.code for one in recording.notices} & DOUBTS:
        # A step shown to 1 % without a word allows the ends of the record to be off by as much: one step in n.
        assert recording.rate_hz * step_s == pytest.approx(1, abs=0.02 / n + 1e-9)
