"""Tables typed by hand: separators, decimal marks, and every fault by line and column."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wattproof.settings import Column, number_of, read_table

COLUMNS = (Column(name="volts_v", least=0.0), Column(name="amps_a"), Column(name="note", numeric=False))


def faults_of(text):
    return read_table(text, columns=COLUMNS)[1]


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_separator_line_end_and_byte_order_mark_make_no_difference(delimiter, end, mark):
    lines = ["volts_v,amps_a,note", '12.30,-1e-3,"quiet; and, clean"', ",,", "# remark", " 4 ,,"]
    quoted = [lines[0].replace(",", delimiter), f'12.30{delimiter}-1e-3{delimiter}"quiet; and, clean"']
    text = mark + end.join([*quoted, delimiter * 2, lines[3], f" 4 {delimiter}{delimiter}"])
    rows, faults = read_table(text, columns=COLUMNS)
    assert not faults
    assert [row.line for row in rows] == [2, 5]
    assert rows[0].numbers == {"volts_v": 12.3, "amps_a": -1e-3}
    assert rows[0].words == {"note": "quiet; and, clean"}
    assert rows[0].steps == pytest.approx({"volts_v": 0.01, "amps_a": 1e-3})
    assert rows[1].numbers == {"volts_v": 4.0}


def test_decimal_comma_in_a_file_of_semicolons():
    rows, faults = read_table("volts_v;amps_a\n12,30;-0,5\n13;1\n", columns=COLUMNS)
    assert not faults
    assert [row.numbers["volts_v"] for row in rows] == [12.3, 13.0]


def test_two_decimal_marks_in_one_file_are_refused_since_a_point_may_part_thousands():
    (fault,) = faults_of("volts_v;amps_a\n1,5;2\n1.234;2\n")
    assert (fault.line, fault.column) == (3, 1)
    assert "1.234" in fault.what
    assert "1,5 on line 2" in fault.what


@pytest.mark.parametrize(
    ("text", "line", "column", "what", "cure"),
    [
        ("volts_v,amps_a\n12.3 V,1\n", 2, 1, '"12.3 V"', "write 12.3 alone"),
        ("volts_v,amps_a\n1.0,\n-2,1\n", 3, 1, "volts_v is -2", "at least 0"),
        ("volts_v;amps_a\n1.234,5;1\n", 2, 1, '"1.234,5"', "one decimal mark"),
        ('volts_v,amps_a\n"12,3",1\n', 2, 1, '"12,3"', "write 12.3"),
        ("volts_v,amps_a\n12,3,4\n", 2, 0, "3 cells stand under 2 columns", "decimal points"),
        ("volts_v,amps_a\nabout 12,1\n", 2, 1, '"about 12"', "leave the cell empty"),
        ("volts_v,amps_a\nnan,1\n", 2, 1, '"nan"', "leave the cell empty"),
        ("volts_v,amps_a\n1e999,1\n", 2, 1, '"1e999"', "write a number"),
        ("volts (V),amps_a\n1,1\n", 1, 1, '"volts (V)"', "write volts_v"),
        ("volts_mv,amps_a\n1,1\n", 1, 1, '"volts_mv"', "write volts_v, with the numbers in the unit it names"),
        ("volts_v,nonsense\n1,1\n", 1, 2, '"nonsense"', "the columns are volts_v, amps_a, note"),
        ("volts_v,volts_v\n1,1\n", 1, 2, "volts_v is there twice", "delete one"),
        ("1,2\n3,4\n", 1, 0, "numbers where the names", "volts_v,amps_a,note"),
        ('volts_v,note\n1,"open\n', 2, 0, "cannot be told apart", "quotation mark"),
        ("volts_v,\n1,2\n", 2, 2, "without a name", "name the column"),
        ("", 0, 0, "no line", "volts_v,amps_a,note"),
    ],
)
def test_a_fault_is_told_with_its_place_and_its_cure(text, line, column, what, cure):
    (fault,) = faults_of(text)
    assert (fault.line, fault.column) == (line, column)
    assert what in fault.what
    assert cure in fault.cure


def test_all_faults_of_a_table_are_told_at_once():
    found = faults_of("volts_v,amps_a,ohms\nx,1,4\n1,y,4\n-1,1,4\n")
    assert [(fault.line, fault.column) for fault in found] == [(1, 3), (2, 1), (3, 2), (4, 1)]


@given(st.decimals(allow_nan=False, allow_infinity=False, places=3, min_value=-(10**6), max_value=10**6))
@settings(deadline=None)
def test_a_number_is_read_as_written_with_one_count_of_its_last_digit(number):
    assert number_of(f"{number:f}") == (float(number), 0.001)
    assert number_of(f"{number:f}".replace(".", ","), decimal_comma=True) == (float(number), 0.001)
