"""Which words the command line knows, and the overview that `wattproof --help` prints of them."""

import textwrap

COMMANDS = {
    ("read",): "Show what files were taken to be, and all that is doubtful about them.",
    ("measure",): "Measure captures and typed readings: figures with uncertainty, conditions and origin.",
    ("plausible",): "Look at a maker's ratings without a bench: fuse, volts, capacitors, the sheet against itself.",
    ("plan",): "Plan a bench day: steps, currents, heat and rests, and which ratings this bench can judge.",
    ("run",): "Carry out a bench day: drive, record, watch and measure; or go on with one that was interrupted.",
    ("bench", "check"): "Speak to every part of the rig, and tell all that is wrong at once.",
    ("bench", "floor"): "Measure what recorder and generator themselves add: noise, and distortion of a loop-back.",
    ("bench", "calibrate"): "Fit a channel's scale and offset from reference readings.",
    ("session", "new"): "Begin a session: one amplifier on one bench.",
    ("session", "add"): "Keep captures in a session, byte for byte.",
    ("session", "figures"): "Measure a session's captures and give the figures as a table, JSON, CSV or a page.",
    ("session", "list"): "List the sessions of the archive.",
    ("session", "void"): "Mark a capture as void, with the reason: it is kept, but no figure is made of it.",
    ("session", "unvoid"): "Take back that a capture is void.",
    ("model",): "Fit the amplifier's behaviour to a session's figures: rail, resistance, limits, knee, losses.",
    ("predict",): "Predict power, supply current and heat under conditions that were not measured, or refuse.",
    ("judge",): "Judge the maker's ratings by a session's figures: meets, falls short, cannot tell.",
    ("compare",): "Lay sessions side by side on common terms: which differences can be told, and which cannot.",
    ("report",): "Write a session's report: one page, a PDF and a post, all of the same content.",
    ("export",): "Write figures, budgets, curves, verdicts and recordings for a spreadsheet, Python or other programs.",
    ("site",): "Write the whole archive as a folder of pages for a web host: list, table side by side, reports.",
    ("overlay",): "Make a transparent clip of live figures and the growing curve, to lay over footage of the bench.",
    ("picture",): "Draw charts and result cards of a session for a video, a forum or a telephone.",
    ("pack",): "Write a session as one evidence pack that anyone can check, signed if you like.",
    ("verify",): "Check an evidence pack: hashes, signature, and every figure measured again.",
    ("key", "new"): "Make a key to sign evidence packs with.",
    ("paper", "keep"): "Keep an amplifier file, a bench file or a run sheet in the archive, with its states before.",
    ("paper", "list"): "List the papers kept in the archive.",
    ("paper", "show"): "Show what a paper says, now or before.",
    ("paper", "back"): "Take back a paper's last change.",
    ("archive", "index"): "Make the archive's index again from its folders.",
    ("schema",): "Print the JSON Schema of what commands answer and of the files you write.",
    ("serve",): "Open the workbench: the whole job as pages in this machine's browser, and a running bench live.",
    ("demo",): "Run the whole job on sample captures of a made-up amplifier.",
}
"""Every command and its line in the help; each is the task of the same name, words joined by an underscore."""

GROUPS = {
    "bench": "What is on the table: the rig's parts, their floor, calibration.",
    "session": "Captures and figures of one amplifier, kept in the archive.",
    "paper": "Files that are written once and used by many sessions.",
    "key": "Your own key, by which people know that a pack is yours.",
    "archive": "The folder in which sessions are kept.",
}

PURPOSE = "From bench captures of vehicle audio amplifiers to figures one can defend."

EPILOGUE = """\
A first look:    wattproof read capture.wav
                 wattproof measure capture.wav --volts-per-unit 42 --load-ohm 4
With a bench:    wattproof measure ramp.wav --bench bench.toml --load "4 ohm"
All of it:       wattproof demo

Before power is on: fuse near the source, eye protection, no rings, guarded loads, a hardware stop within reach.
Never ground either terminal of a bridged output. Never leave it running alone."""


def folded(text: str, columns: int) -> str:
    """Fold lines at words, as a terminal would not; what is folded keeps its line's indent."""
    return "\n".join(
        textwrap.fill(line, columns, subsequent_indent=line[: len(line) - len(line.lstrip())])
        for line in text.splitlines()
    )


def overview(width: int = 100) -> str:
    """List every command with its line; plain words, so that the first help of all comes at once.

    Parameters
    ----------
    width : int
        Columns to fold the lines at.
    """
    column = max(len(" ".join(words)) for words in COMMANDS) + 2
    lines = ["Usage: wattproof COMMAND ...", "", PURPOSE, ""]
    entries = [(" ".join(words), text) for words, text in COMMANDS.items()]
    entries += [("--help, -h", "This page; wattproof COMMAND --help tells a command's options."), ("--version", "")]
    for name, text in entries:
        lines += textwrap.wrap(
            text or "The version.", width, initial_indent=f"  {name:<{column}}", subsequent_indent=" " * (column + 2)
        )
    return "\n".join([*lines, "", EPILOGUE])
