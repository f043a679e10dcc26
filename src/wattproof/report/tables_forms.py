"""The tables there are, and every column of them with its unit and its meaning: the one dictionary of columns."""

from wattproof.report.tables import TableColumn, TableForm


def _text(name: str, about: str) -> TableColumn:
    return TableColumn(name=name, type="text", about=about)


def _truth(name: str, about: str) -> TableColumn:
    return TableColumn(name=name, type="truth", about=about)


def _integer(name: str, about: str, unit: str = "1") -> TableColumn:
    return TableColumn(name=name, type="integer", about=about, unit=unit)


def _number(name: str, about: str, unit: str = "", *, unit_in: str = "") -> TableColumn:
    return TableColumn(name=name, type="number", about=about, unit=unit, unit_in=unit_in)


SESSION = _text("session", "name of the session's folder in the archive")
WHOSE = (
    SESSION,
    _text("maker", "who made the amplifier"),
    _text("model", "its model"),
)
CAPTURE = _integer("capture", "number of the capture within its session")
KIND = _text("kind", "steady, ramp, burst, hold, idle, or readings for typed ones")
OUTPUT = _text("output", "output of the amplifier; empty for the amplifier as a whole")
FIGURE = _integer("figure", "number of the figure within its session, from 1")
UNIT = _text("unit", "SI unit of this row's numbers; ratios are V/V, W/W or 1, never per cent")

CONDITIONS = (
    _number("frequency_hz", "frequency of the tone", "Hz"),
    _number("load_ohm", "resistance of the load as measured, or as named", "ohm"),
    _number("supply_v", "supply voltage at the amplifier's terminals meanwhile", "V"),
    _number("bandwidth_low_hz", "lower edge of the measuring band", "Hz"),
    _number("bandwidth_high_hz", "upper edge of the measuring band", "Hz"),
    _number("thd_n", "distortion with noise at which it holds, a ratio", "1"),
    _text("basis", "what the figure was computed from, as v*i"),
    _integer("outputs_measured", "outputs that were measured at once"),
)
"""Conditions with columns of their own, in `figures`."""

FIGURES = TableForm(
    name="figures",
    row="a figure: a measured or derived quantity with its uncertainty, conditions and origin",
    key=("session", "figure"),
    columns=(
        *WHOSE, CAPTURE, KIND, FIGURE,
        _text("name", "name of the figure, as in the method sheets: load_power"),
        OUTPUT,
        _number("value", "the figure", unit_in="unit"),
        _number("u", "combined standard uncertainty", unit_in="unit"),
        _number("k95", "factor from u to half the width of the 95 % interval", "1"),
        _number("low95", "lower end of the 95 % interval: value - k95 u", unit_in="unit"),
        _number("high95", "upper end of the 95 % interval: value + k95 u", unit_in="unit"),
        UNIT,
        _number("dof", "effective degrees of freedom of u; empty: infinitely many", "1"),
        *CONDITIONS,
        _text("conditions", "all other conditions, as a JSON object, the unit in each key"),
        _text("origin", "capture and span of time it was computed from"),
    ),
)  # fmt: skip

BUDGETS = TableForm(
    name="budgets",
    row="a line of a figure's uncertainty budget: one source of doubt and what it adds",
    key=("session", "figure", "source"),
    columns=(
        SESSION, FIGURE,
        _text("name", "name of the figure"),
        OUTPUT,
        _text("source", "the source's name for ever; figures that share one are correlated"),
        _text("label", "the source in words"),
        _text("type", "A: from this capture's own scatter; B: from calibration or data sheet"),
        _number("u", "standard uncertainty that this source adds", unit_in="unit"),
        _integer("sign", "1 or -1: which way the figure moves with the source"),
        _number("dof", "degrees of freedom of the source; empty: infinitely many", "1"),
        UNIT,
    ),
)  # fmt: skip

FRAME = (
    ("t_s", "t_s", "middle of the frame, from the start of the capture", "s"),
    ("load_voltage_rms", "load_voltage_rms_v", "voltage at the load, r.m.s.", "V"),
    ("load_current_rms", "load_current_rms_a", "current through the load, r.m.s.", "A"),
    ("load_power", "load_power_w", "power in the load", "W"),
    ("thd_n", "thd_n", "distortion with noise, a ratio", "1"),
    ("gain", "gain", "load voltage over drive voltage", "V/V"),
    ("supply_voltage", "supply_voltage_v", "mean voltage at the supply terminals", "V"),
    ("supply_current", "supply_current_a", "mean supply current", "A"),
    ("supply_power", "supply_power_w", "mean supply power", "W"),
    ("efficiency", "efficiency", "power in the load over supply power, a ratio", "1"),
    (
        "temperature",
        "temperature",
        "of the amplifier, in what its channel was scaled to: only its rise is sure",
        "K or °C",
    ),
)
"""Of each number of a frame: its name in a result, its column, what it says, its unit."""

CURVES = TableForm(
    name="curves",
    row="a frame of a ramp, a burst train or a hold; frames carry no uncertainty of their own",
    key=("session", "capture", "output", "frame"),
    columns=(
        *WHOSE, CAPTURE, KIND, OUTPUT,
        _integer("frame", "number of the frame within its capture and output, from 1"),
        *(_number(column, about, unit) for _, column, about, unit in FRAME),
    ),
)  # fmt: skip

VERDICTS = TableForm(
    name="verdicts",
    row="a rating under one reading of it: what is claimed, what was measured, and the verdict",
    key=("session", "rating", "reading"),
    columns=(
        *WHOSE,
        _integer("rating", "number of the rating in amplifier.toml, from 0"),
        _text("rating_words", "the rating as the maker states it"),
        _integer("reading", "number of the reading within its rating, from 1"),
        _text("reading_words", "how the rating was read"),
        _text("assumed", "conditions the maker does not state and the reading adds"),
        _truth("stretched", "true: a reading nobody would expect, tried to see what is true"),
        _text("quantity", "what is rated"),
        _text("sense", "at least, at most, or about the claimed value"),
        _number("claimed", "the rated value", unit_in="unit"),
        UNIT,
        _number("load_ohm", "load the reading asks for; empty: any", "ohm"),
        _number("supply_v", "supply voltage it asks for; empty: any", "V"),
        _number("thd_n", "limit of distortion it asks for, a ratio; empty: any", "1"),
        _integer("driven", "outputs driven at once; empty: any"),
        _number("frequency_hz", "frequency it asks for; empty: any", "Hz"),
        _number("duration_s", "for how long; empty: not stated", "s"),
        _text("measured_name", "name of the figure it was weighed against"),
        _text("measured_where", "where that was measured"),
        _number("measured", "as measured; empty: nothing was measured that fits", unit_in="measured_unit"),
        _number("measured_u", "its standard uncertainty", unit_in="measured_unit"),
        _text("measured_unit", "SI unit of what was measured"),
        _text("bound", "at least or at most: the figure only bounds what is rated"),
        _number("at_rated", "carried to the rated conditions", unit_in="unit"),
        _number("at_rated_u", "its standard uncertainty", unit_in="unit"),
        _number("at_rated_low95", "lower end of its 95 % interval", unit_in="unit"),
        _number("at_rated_high95", "upper end of its 95 % interval", unit_in="unit"),
        _number("correction", "at the rated conditions over measured, less one", "1"),
        _number("margin", "at the rated conditions over claimed, less one", "1"),
        _number("probability", "that the true value conforms, 0 to 1", "1"),
        _number("confidence", "probability from which the rule decides, fixed before", "1"),
        _text("verdict", "meets, falls short, or cannot tell"),
        _text("why", "the reason in words"),
        _text("settling", "what would settle it"),
    ),
)  # fmt: skip

CAPTURES = TableForm(
    name="captures",
    row="a capture: a recording or a sheet of typed readings, as it is kept in the archive",
    key=("session", "capture"),
    columns=(
        *WHOSE,
        _text("started", "when the session began, ISO 8601"),
        CAPTURE,
        _text("step", "what it is of"),
        KIND,
        _text("load", "name of the load in use"),
        _text("file", "the file's name where it came from"),
        _text("reader", "the reader that knew its format"),
        _text("began", "when the recording began, ISO 8601; empty for imported files"),
        _number("sample_rate_hz", "samples a second; empty for typed readings", "Hz"),
        _integer("samples", "samples of each channel"),
        _number("duration_s", "length", "s"),
        _text("sha256", "SHA-256 of the original file"),
        _integer("size_bytes", "its size", "byte"),
        _text("void", "why no figure was made of it; empty for sound ones"),
        _text("note", "what was noted of it"),
        _text("samples_file", "the recording in this folder; empty where left out"),
        _text("sidecar_file", "JSON beside it: what the tracks are, how numbers become volts"),
    ),
)  # fmt: skip

NOTICES = TableForm(
    name="notices",
    row="a remark on what is doubtful about a capture; figures should not be quoted without it",
    key=("session", "capture", "code", "message"),
    columns=(
        SESSION, CAPTURE,
        _text("code", "the remark's code; docs/notices.md has a paragraph on each"),
        _text("message", "what was found, with the numbers"),
        _text("hint", "what to do"),
    ),
)  # fmt: skip

FORMS = (FIGURES, BUDGETS, CURVES, VERDICTS, CAPTURES, NOTICES)
"""Every table, in the order in which they are listed."""
