"""The bench's form: channels, loads and meters row by row, supply, limits and what plays and records."""

from typing import get_args

from wattproof.bench import Read, Role
from wattproof.tasks.paper_fields import FormField, FormPart

ROLES = tuple((name, name.replace("_", " ")) for name in get_args(Role))
READS = tuple((name, name.replace("_", " ")) for name in get_args(Read))
PACED = (("", "as fast as it goes"), ("yes", "as the real thing"))
WORKED = (("", "by hand"), ("manual", "by hand"), ("scpi", "over a wire, by SCPI"), ("simulated", "simulated"))

BENCH_PARTS = (
    FormPart(
        key="",
        heading="The bench",
        fields=(
            FormField(key="name", label="Name", kind="words"),
            FormField(key="clock_u", label="Sample clock, relative uncertainty", hint="30 ppm is 3e-5"),
        ),
    ),
    FormPart(
        key="channels",
        heading="Channels",
        hint="One row a recorded quantity: where it is, and what one of the file's numbers stands for.",
        many=True,
        row="channel",
        counts=("input", "scale"),
        fields=(
            FormField(key="input", label="Input", kind="input", hint="track, column or header name"),
            FormField(key="role", label="Records", kind="choice", choices=ROLES, usual="load_voltage"),
            FormField(key="output", label="Output", kind="words"),
            FormField(key="scale", label="Scale", hint="V, A or K for 1 in the file"),
            FormField(key="offset", label="Offset", hint="V, A or K"),
            FormField(key="scale_u", label="Uncertainty of the scale", hint="0.2 % is 0.002"),
            FormField(key="offset_u", label="Uncertainty of the offset", hint="V, A or K"),
            FormField(key="skew_s", label="Lag", unit="s"),
            FormField(key="full_scale", label="Clips at", hint="in the file's numbers"),
            FormField(key="calibrated", label="Calibrated on", kind="day"),
            FormField(key="calibration_days", label="Holds for", unit="days"),
        ),
    ),
    FormPart(
        key="loads",
        heading="Loads",
        hint="Measured cold, with four wires.",
        many=True,
        row="load",
        fields=(
            FormField(key="name", label="Name", kind="words"),
            FormField(key="resistance_ohm", label="Resistance", unit="ohm"),
            FormField(key="resistance_u_ohm", label="Its standard uncertainty", unit="ohm"),
            FormField(key="tempco_per_k", label="Change per kelvin", hint="60 ppm is 60e-6"),
            FormField(key="rise_k", label="Warms by at most", unit="K"),
            FormField(key="inductance_h", label="Inductance", unit="H"),
            FormField(key="continuous_w", label="Bears without end", unit="W"),
        ),
    ),
    FormPart(
        key="meters",
        heading="Meters",
        hint="Whose readings are typed, with the accuracy that their data sheet states; one row a function.",
        many=True,
        row="meter",
        counts=("name", "percent_of_reading", "digits", "resolution", "frequency_hz"),
        fields=(
            FormField(key="name", label="Name", kind="words"),
            FormField(key="quantity", label="Reads", kind="choice", choices=READS, usual="load_voltage"),
            FormField(key="percent_of_reading", label="Of the reading", unit="%"),
            FormField(key="digits", label="Digits"),
            FormField(key="resolution", label="Resolution", hint="one count"),
            FormField(key="frequency_hz", label="Holds between", unit="Hz", kind="numbers", hint="45 400"),
        ),
    ),
    FormPart(
        key="supply",
        heading="Supply",
        fields=(
            FormField(key="nominal_v", label="Voltage", unit="V"),
            FormField(key="max_current_a", label="Largest current", unit="A"),
        ),
    ),
    FormPart(
        key="limits",
        heading="Limits",
        hint="Beyond these the guard stops the drive.",
        fields=(
            FormField(key="load_voltage_v", label="Load voltage", unit="V"),
            FormField(key="load_dc_v", label="DC at the load", unit="V"),
            FormField(key="load_current_a", label="Load current", unit="A"),
            FormField(key="supply_current_a", label="Supply current", unit="A"),
            FormField(key="supply_voltage_v", label="Supply between", unit="V", kind="numbers", hint="10.5 16"),
            FormField(key="temperature_c", label="Temperature", unit="°C"),
            FormField(key="full_power_s", label="Full power for at most", unit="s"),
        ),
    ),
    FormPart(
        key="rule",
        heading="How a rating is decided",
        fields=(FormField(key="confidence", label="Confidence", hint="95 % is 0.95; fixed before measuring"),),
    ),
    FormPart(
        key="rig",
        heading="What plays and records",
        hint="Empty where files are imported and nothing is driven from here.",
        fields=(
            FormField(key="kind", label="Kind", kind="words", hint="audio, simulated, or a plug-in's name"),
            FormField(key="device", label="Interface", kind="input", hint="empty: the system's own"),
            FormField(key="sample_rate_hz", label="Samples a second", unit="Hz"),
            FormField(key="drive_v_full_scale", label="Generator's full scale", unit="V peak"),
            FormField(key="drive_outputs", label="Drive", kind="pairs", hint="output and generator channel, as A: 1"),
            FormField(key="supply.kind", label="Supply is worked", kind="choice", choices=WORKED),
            FormField(key="supply.address", label="Supply's address", kind="words"),
            FormField(key="supply.instrument", label="Supply's command file", kind="words", hint="its whole path"),
            FormField(key="load.kind", label="Loads are switched", kind="choice", choices=WORKED),
            FormField(key="simulated.amplifier", label="Simulated amplifier", kind="words"),
            FormField(key="simulated.paced", label="Simulated pace", kind="truth", choices=PACED),
        ),
    ),
)
