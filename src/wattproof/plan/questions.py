"""What a tool cannot see: the questions a person answers before a run, and the cautions of every run sheet."""

from collections.abc import Iterator, Mapping, Sequence

from wattproof.amplifier import Amplifier
from wattproof.bench import Bench
from wattproof.plan.model import Check, Question, RunSheet, Step

YES_NO = ("yes", "no")

CAUTIONS: tuple[str, ...] = (
    "Put a fuse into the positive lead, close to the source. Hundreds of amperes flow: no rings, watches or chains.",
    "A kilowatt into 4 ohm is over 63 V r.m.s. at the terminals. Wire and rewire with the supply off and discharged.",
    "Wear eye protection. Load resistors get hot enough to burn and to light things: guard them and let air through.",
    "Ventilate the place where batteries stand and are charged, and keep sparks from them.",
    "Have a hardware stop within reach that cuts drive and supply together. No program is one.",
    "Both terminals of a bridged output are live. Never ground either of them, not even through a probe's clip.",
    "Never leave a run alone, not for a minute. Stop at smoke, smell, or a sound that you cannot explain.",
    "Protect your hearing where a loudspeaker plays or a load sings: the levels here can harm it within seconds.",
    "All powers, currents, temperatures and rests on this sheet are estimates from the maker's figures.",
    "Cable, fuse and battery figures are estimates: follow the makers' data, local codes and a qualified installer.",
)
"""Cautions of every run sheet."""


def questions_for(amplifier: Amplifier, bench: Bench, steps: Sequence[Step], *, bridged: bool) -> tuple[Question, ...]:
    """Give the questions that this run asks.

    Parameters
    ----------
    amplifier : Amplifier
    bench : Bench
    steps : sequence of Step
    bridged : bool
        Whether the sheet is for outputs wired in pairs.

    Returns
    -------
    tuple of Question
    """
    return (*_wiring(amplifier, bridged=bridged), *_table(amplifier, bench), *_warnings(amplifier, steps))


def _wiring(amplifier: Amplifier, *, bridged: bool) -> Iterator[Question]:
    yield Question(
        code="bridged",
        text="Is any output bridged, so that both of its terminals are driven? Measure it, do not go by the label.",
        choices=("yes", "no", "not known"),
        allows=("yes",) if bridged else ("yes", "no", "not known"),
        why="Many outputs are bridged inside although one terminal looks like ground.",
    )
    yield Question(
        code="output-grounded",
        text="Is any output terminal connected to ground or chassis, also through a probe's clip, "
        "the recorder's shield or a laptop on its charger?",
        choices=("yes", "no", "not known"),
        allows=("yes", "no", "not known"),
        why="A grounded terminal of a bridged output shorts half of the amplifier through whatever grounds it.",
    )
    if len(amplifier.outputs) > 1 and not bridged:
        yield Question(
            code="load-each",
            text="Has every driven output a load resistor of its own, not shared with another?",
            choices=YES_NO,
            allows=("yes",),
            why="Outputs that share a resistor drive current into each other.",
        )


def _table(amplifier: Amplifier, bench: Bench) -> Iterator[Question]:
    yield Question(
        code="fuse-near-source",
        text="Is a fuse in the positive lead, close to the source?",
        choices=YES_NO,
        allows=("yes",),
        why="The amplifier's own fuse does not protect the cable that feeds it.",
    )
    yield Question(
        code="hardware-stop",
        text="Is a hardware stop within reach that cuts drive and supply together?",
        choices=YES_NO,
        allows=("yes",),
        why="No program can be relied on to stop hundreds of amperes.",
    )
    yield Question(
        code="load-guarded",
        text="Are the loads guarded, on something that does not burn, with air around them?",
        choices=YES_NO,
        allows=("yes",),
        why="They become hot enough to burn skin and to light paper.",
    )
    yield Question(
        code="not-alone",
        text="Will somebody stay at the bench for the whole run?",
        choices=YES_NO,
        allows=("yes",),
        why="The guard sees only what is wired to it: no smoke, no smell.",
    )
    if bench.channel_for("supply_voltage") is not None:
        yield Question(
            code="sensed-at-terminals",
            text="Is the supply voltage sensed at the amplifier's own terminals?",
            choices=YES_NO,
            allows=YES_NO,
            why="A tenth of a volt is lost in good cable; powers are compared at the voltage that the amplifier gets.",
        )
    controls = ", ".join(f"{name}: {position}" for name, position in amplifier.controls.items())
    yield Question(
        code="controls",
        text="In which positions do the controls stand?"
        + (f" The amplifier file says: {controls}." if controls else ""),
        choices=(),
        allows=(),
        why="Gain, filters and boosts change every figure; the answer is kept with the session.",
    )
    yield Question(
        code="boost-off",
        text="Are bass boost, equaliser and any filter that touches the test tone off (or has it none)?",
        choices=YES_NO,
        allows=("yes",),
        why="12 dB of boost at the tone asks for sixteen times the power there.",
    )


def _warnings(amplifier: Amplifier, steps: Sequence[Step]) -> Iterator[Question]:
    below = sorted({step.load for step in steps if step.below_minimum and step.load is not None})
    if below:
        least = f"{amplifier.minimum_load_ohm:g} ohm" if amplifier.minimum_load_ohm is not None else "what is rated"
        yield Question(
            code="below-minimum",
            text=f"{', '.join(below)} is below the lowest load ({least}) that the amplifier is made for. It may be "
            "destroyed. Does its owner know, and agree?",
            choices=YES_NO,
            allows=("yes",),
            why="Below its minimum an amplifier may fail at once, and its warranty with it.",
        )


def unanswered(sheet: RunSheet, answers: Mapping[str, str]) -> tuple[Check, ...]:
    """Give the questions of a sheet that have no answer, or one that is none of the choices.

    Parameters
    ----------
    sheet : RunSheet
    answers : mapping of str to str
        By the questions' codes.

    Returns
    -------
    tuple of Check
        Refused, one for each; empty where all are answered.
    """
    return tuple(_missing(question, answers) for question in sheet.questions if not _answered(question, answers))


def _answered(question: Question, answers: Mapping[str, str]) -> bool:
    said = answers.get(question.code, "").strip()
    return said in question.choices if question.choices else bool(said)


def _missing(question: Question, answers: Mapping[str, str]) -> Check:
    said = answers.get(question.code, "").strip()
    listed = ", ".join(question.choices) or "in any words"
    return Check(
        code=f"question-{question.code}",
        state="refused",
        message=f"{question.text} " + (f'"{said}" is no answer to it.' if said else "This is not answered."),
        hint=f"Answer {question.code} ({listed}). {question.why}",
    )


def refusals(sheet: RunSheet, answers: Mapping[str, str]) -> tuple[Check, ...]:
    """Give all that keeps a run from beginning: refused checks, questions open or answered so that it must not begin.

    Parameters
    ----------
    sheet : RunSheet
    answers : mapping of str to str
        By the questions' codes.

    Returns
    -------
    tuple of Check
        Empty where the run may begin.
    """
    refused = [check for check in sheet.checks if check.state == "refused"]
    wrong = [
        Check(
            code=f"question-{question.code}",
            state="refused",
            message=f'{question.text} With "{answers[question.code].strip()}" the run must not begin.',
            hint=f"{question.why} Change it, and answer again.",
        )
        for question in sheet.questions
        if _answered(question, answers) and question.allows and answers[question.code].strip() not in question.allows
    ]
    return (*refused, *unanswered(sheet, answers), *wrong, *_grounded_bridge(answers))


def _grounded_bridge(answers: Mapping[str, str]) -> Iterator[Check]:
    """Refuse what each answer alone allows and both together do not; not knowing is no permission."""
    bridged, grounded = (answers.get(code, "").strip() for code in ("bridged", "output-grounded"))
    if "" in (bridged, grounded) or "no" in (bridged, grounded):
        return
    yield Check(
        code="bridged-and-grounded",
        state="refused",
        message="An output that is or may be bridged has a terminal that is or may be grounded.",
        hint="Take the ground off: a differential probe or divider, an interface and a laptop that are not earthed. "
        "Then answer output-grounded with no.",
    )
