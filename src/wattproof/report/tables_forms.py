"""The tables there are, and every column of them with its unit and its meaning: the one dictionary of columns."""

from wattproof.report.tables import TableColumn, TableForm

_C = TableColumn

SESSION = _C(name="session", type="text", about="name of the session's folder in the archive")
WHOSE = (
    SESSION,
    _C(name="maker", type="text", about="who made the amplifier"),
    _C(name="model", type="text", about="its model"),
)
CAPTURE = _C(name="capture", type="integer", about="number of the capture within its session", unit="1")
KIND = _C(name="kind", type="text", about="steady, ramp, burst, hold, idle, or readings for typed ones")
OUTPUT = _C(name="output", type="text", about="output of the amplifier; empty for the amplifier as a whole")
FIGURE = _C(name="figure", type="integer", about="number of the figure within its session, from 1", unit="1")
UNIT = _C(name="unit", type="text", about="SI unit of this row's numbers; ratios are V/V, W/W or 1, never per cent")

CONDITIONS = (
    _C(name="frequency_hz", type="number", about="frequency of the tone", unit="Hz"),
    _C(name="load_ohm", type="number", about="resistance of the load as measured, or as named", unit="ohm"),
    _C(name="supply_v", type="number", about="supply voltage at the amplifier's terminals meanwhile", unit="V"),
    _C(name="bandwidth_low_hz", type="number", about="lower edge of the measuring band", unit="Hz"),
    _C(name="bandwidth_high_hz", type="number", about="upper edge of the measuring band", unit="Hz"),
    _C(name="thd_n", type="number", about="distortion with noise at which it holds, a ratio", unit="1"),
    _C(name="basis", type="text", about="what the figure was computed from, as v*i"),
    _C(name="outputs_measured", type="integer", about="outputs that were measured at once", unit="1"),
)
"""Conditions with columns of their own, in `figures`."""

FIGURES = TableForm(
    name="figures",
    row="a figure: a measured or derived quantity with its uncertainty, conditions and origin",
    key=("session", "figure"),
    columns=(
        *WHOSE, CAPTURE, KIND, FIGURE,
        _C(name="name", type="text", about="name of the figure, as in the method sheets: load_power"),
        OUTPUT,
        _C(name="value", type="number", about="the figure", unit_in="unit"),
        _C(name="u", type="number", about="combined standard uncertainty", unit_in="unit"),
        _C(name="k95", type="number", about="factor from u to half the width of the 95 % interval", unit="1"),
        _C(name="low95", type="number", about="lower end of the 95 % interval: value - k95 u", unit_in="unit"),
        _C(name="high95", type="number", about="upper end of the 95 % interval: value + k95 u", unit_in="unit"),
        UNIT,
        _C(name="dof", type="number", about="effective degrees of freedom of u; empty: infinitely many", unit="1"),
        *CONDITIONS,
        _C(name="conditions", type="text", about="all other conditions, as a JSON object, the unit in each key"),
        _C(name="origin", type="text", about="capture and span of time it was computed from"),
    ),
)  # fmt: skip

BUDGETS = TableForm(
    name="budgets",
    row="a line of a figure's uncertainty budget: one source of doubt and what it adds",
    key=("session", "figure", "source"),
    columns=(
        SESSION, FIGURE,
        _C(name="name", type="text", about="name of the figure"),
        OUTPUT,
        _C(name="source", type="text", about="the source's name for ever; figures that share one are correlated"),
        _C(name="label", type="text", about="the source in words"),
        _C(name="type", type="text", about="A: from this capture's own scatter; B: from calibration or data sheet"),
        _C(name="u", type="number", about="standard uncertainty that this source adds", unit_in="unit"),
        _C(name="sign", type="integer", about="1 or -1: which way the figure moves with the source", unit="1"),
        _C(name="dof", type="number", about="degrees of freedom of the source; empty: infinitely many", unit="1"),
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
        _C(name="frame", type="integer", about="number of the frame within its capture and output, from 1", unit="1"),
        *(_C(name=column, type="number", about=about, unit=unit) for _, column, about, unit in FRAME),
    ),
)  # fmt: skip

VERDICTS = TableForm(
    name="verdicts",
    row="a rating under one reading of it: what is claimed, what was measured, and the verdict",
    key=("session", "rating", "reading"),
    columns=(
        *WHOSE,
        _C(name="rating", type="integer", about="number of the rating in amplifier.toml, from 0", unit="1"),
        _C(name="rating_words", type="text", about="the rating as the maker states it"),
        _C(name="reading", type="integer", about="number of the reading within its rating, from 1", unit="1"),
        _C(name="reading_words", type="text", about="how the rating was read"),
        _C(name="assumed", type="text", about="conditions the maker does not state and the reading adds"),
        _C(name="stretched", type="truth", about="true: a reading nobody would expect, tried to see what is true"),
        _C(name="quantity", type="text", about="what is rated"),
        _C(name="sense", type="text", about="at least, at most, or about the claimed value"),
        _C(name="claimed", type="number", about="the rated value", unit_in="unit"),
        UNIT,
        _C(name="load_ohm", type="number", about="load the reading asks for; empty: any", unit="ohm"),
        _C(name="supply_v", type="number", about="supply voltage it asks for; empty: any", unit="V"),
        _C(name="thd_n", type="number", about="limit of distortion it asks for, a ratio; empty: any", unit="1"),
        _C(name="driven", type="integer", about="outputs driven at once; empty: any", unit="1"),
        _C(name="frequency_hz", type="number", about="frequency it asks for; empty: any", unit="Hz"),
        _C(name="duration_s", type="number", about="for how long; empty: not stated", unit="s"),
        _C(name="measured_name", type="text", about="name of the figure it was weighed against"),
        _C(name="measured_where", type="text", about="where that was measured"),
        _C(name="measured", type="number", about="as measured; empty: nothing was measured that fits",
           unit_in="measured_unit"),
        _C(name="measured_u", type="number", about="its standard uncertainty", unit_in="measured_unit"),
        _C(name="measured_unit", type="text", about="SI unit of what was measured"),
        _C(name="bound", type="text", about="at least or at most: the figure only bounds what is rated"),
        _C(name="at_rated", type="number", about="carried to the rated conditions", unit_in="unit"),
        _C(name="at_rated_u", type="number", about="its standard uncertainty", unit_in="unit"),
        _C(name="at_rated_low95", type="number", about="lower end of its 95 % interval", unit_in="unit"),
        _C(name="at_rated_high95", type="number", about="upper end of its 95 % interval", unit_in="unit"),
        _C(name="correction", type="number", about="at the rated conditions over measured, less one", unit="1"),
        _C(name="margin", type="number", about="at the rated conditions over claimed, less one", unit="1"),
        _C(name="probability", type="number", about="that the true value conforms, 0 to 1", unit="1"),
        _C(name="confidence", type="number", about="probability from which the rule decides, fixed before", unit="1"),
        _C(name="verdict", type="text", about="meets, falls short, or cannot tell"),
        _C(name="why", type="text", about="the reason in words"),
        _C(name="settling", type="text", about="what would settle it"),
    ),
)  # fmt: skip

CAPTURES = TableForm(
    name="captures",
    row="a capture: a recording or a sheet of typed readings, as it is kept in the archive",
    key=("session", "capture"),
    columns=(
        *WHOSE,
        _C(name="started", type="text", about="when the session began, ISO 8601"),
        CAPTURE,
        _C(name="step", type="text", about="what it is of"),
        KIND,
        _C(name="load", type="text", about="name of the load in use"),
        _C(name="file", type="text", about="the file's name where it came from"),
        _C(name="reader", type="text", about="the reader that knew its format"),
        _C(name="began", type="text", about="when the recording began, ISO 8601; empty for imported files"),
        _C(name="sample_rate_hz", type="number", about="samples a second; empty for typed readings", unit="Hz"),
        _C(name="samples", type="integer", about="samples of each channel", unit="1"),
        _C(name="duration_s", type="number", about="length", unit="s"),
        _C(name="sha256", type="text", about="SHA-256 of the original file"),
        _C(name="size_bytes", type="integer", about="its size", unit="byte"),
        _C(name="void", type="text", about="why no figure was made of it; empty for sound ones"),
        _C(name="note", type="text", about="what was noted of it"),
        _C(name="samples_file", type="text", about="the recording in this folder; empty where left out"),
        _C(name="sidecar_file", type="text", about="JSON beside it: what the tracks are, how numbers become volts"),
    ),
)  # fmt: skip

NOTICES = TableForm(
    name="notices",
    row="a remark on what is doubtful about a capture; figures should not be quoted without it",
    key=("session", "capture", "code", "message"),
    columns=(
        SESSION, CAPTURE,
        _C(name="code", type="text", about="the remark's code; docs/notices.md has a paragraph on each"),
        _C(name="message", type="text", about="what was found, with the numbers"),
        _C(name="hint", type="text", about="what to do"),
    ),
)  # fmt: skip

FORMS = (FIGURES, BUDGETS, CURVES, VERDICTS, CAPTURES, NOTICES)
"""Every table, in the order in which they are listed."""
