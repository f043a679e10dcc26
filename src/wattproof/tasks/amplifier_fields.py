"""The amplifier's form: what the maker says, its ratings row by row, what was seen inside."""

from wattproof.amplifier import RATING_UNITS
from wattproof.tasks.paper_fields import FormField, FormPart

TRUTH = (("", "not known"), ("yes", "yes"), ("no", "no"))
SUPPLIES = (
    ("", "not known"),
    ("regulated", "regulated"),
    ("unregulated", "unregulated"),
    ("direct", "direct: a bridge straight across the supply"),
)
QUANTITIES = tuple((name, name.replace("_", " ")) for name in RATING_UNITS)

AMPLIFIER_PARTS = (
    FormPart(
        key="",
        heading="What it is",
        fields=(
            FormField(key="maker", label="Maker", kind="words"),
            FormField(key="model", label="Model", kind="words"),
            FormField(key="outputs", label="Outputs", kind="list", hint="names apart by commas: A, B", usual="A"),
            FormField(key="class", label="Class", kind="words", hint="A, AB, D ..."),
            FormField(key="supply", label="Inner supply", kind="choice", choices=SUPPLIES),
            FormField(key="fuse_a", label="Fuse", unit="A"),
            FormField(key="minimum_load_ohm", label="Lowest load allowed", unit="ohm"),
            FormField(key="price.amount", label="Price"),
            FormField(key="price.currency", label="Currency", kind="words", hint="three letters: GBP"),
            FormField(key="size_mm", label="Length, width, height", unit="mm", kind="numbers", hint="310 180 52"),
            FormField(key="mass_kg", label="Mass", unit="kg"),
            FormField(
                key="controls", label="Controls while measured", kind="pairs", hint="one a line, as gain: minimum"
            ),
            FormField(key="notes", label="Notes", kind="lines"),
        ),
    ),
    FormPart(
        key="ratings",
        heading="Ratings as printed",
        hint="One row a figure, with the conditions that are printed beside it. What is not printed stays empty.",
        many=True,
        row="rating",
        counts=("value", "load_ohm", "supply_v", "thd_percent", "note", "source"),
        fields=(
            FormField(key="quantity", label="Quantity", kind="choice", choices=QUANTITIES, usual="power"),
            FormField(key="value", label="Value"),
            FormField(key="unit", label="Unit", kind="words", usual="W"),
            FormField(key="load_ohm", label="Load", unit="ohm"),
            FormField(key="supply_v", label="Supply voltage", unit="V"),
            FormField(key="thd_percent", label="Distortion", unit="%"),
            FormField(key="channels_driven", label="Outputs driven", kind="whole"),
            FormField(key="bridged", label="Bridged", kind="truth", choices=TRUTH),
            FormField(key="frequency_hz", label="Frequency", unit="Hz"),
            FormField(key="seconds", label="For how long", unit="s"),
            FormField(key="source", label="Where it is printed", kind="words"),
            FormField(key="note", label="Note", kind="words", hint="words beside it: max, peak ..."),
        ),
    ),
    FormPart(
        key="inside",
        heading="What was seen inside",
        hint="Read from the parts or measured at them, never taken from the maker's sheet. Disconnect it and let its "
        "capacitors run down before the lid comes off.",
        fields=(
            FormField(key="rail_capacitance_f", label="Rail capacitors together", unit="F", hint="6600 µF is 0.0066"),
            FormField(key="rail_capacitor_v", label="Volts printed on one", unit="V"),
            FormField(key="rail_v", label="Rail without signal", unit="V"),
            FormField(key="rail_at_supply_v", label="Supply while it was measured", unit="V"),
            FormField(key="converter", label="Step-up converter", kind="truth", choices=TRUTH),
            FormField(key="full_bridge", label="Both terminals driven", kind="truth", choices=TRUTH),
            FormField(key="fuses_a", label="Fuses", unit="A", kind="numbers", hint="each: 30 30"),
            FormField(key="output_devices", label="Output devices", kind="words"),
            FormField(key="cable_mm2", label="Supply lead", unit="mm²"),
            FormField(key="terminal_mm2", label="Largest wire its terminals take", unit="mm²"),
            FormField(key="seen", label="Anything else", kind="lines"),
            FormField(key="photos", label="Photographs", kind="list", hint="names of files, apart by commas"),
        ),
    ),
)
