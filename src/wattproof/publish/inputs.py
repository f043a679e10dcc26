"""All that a report of a session is made of, measured and computed before: the report only words it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

from wattproof.amplifier import Amplifier
from wattproof.bench import Bench
from wattproof.fit import BehaviourModel, Prediction
from wattproof.judge import Comparison, Judged
from wattproof.measure import CaptureResult
from wattproof.plan import RunSheet
from wattproof.publish.document import Photo
from wattproof.publish.remarks import Remarks


@dataclass(frozen=True, kw_only=True)
class Foreseen:
    """What the model says of a load and a supply voltage at the terminals, or why it says nothing.

    Attributes
    ----------
    load_ohm, supply_v : float
    prediction : Prediction or None
    why : str
        Why there is none.
    """

    load_ohm: float
    supply_v: float
    prediction: Prediction | None
    why: str = ""


@dataclass(frozen=True, kw_only=True)
class PublishedSession:
    """Everything that a report tells.

    Attributes
    ----------
    session : str
        Name of the session.
    day : str
        Of the bench, ISO 8601.
    amplifier, bench
        As they were when the session began.
    results : tuple of CaptureResult
        With their views, in the order of the captures.
    judged : Judged or None
        None where no verdicts are to be told.
    models : tuple of BehaviourModel
        One for each number of outputs driven at once, the usual one first.
    on_terms : tuple of Comparison
        The session on common terms, for each number of outputs driven at once.
    terms_by : "rated" or "chosen"
        Where the supply voltage of these terms comes from.
    foreseen : tuple of Foreseen
        A table of predictions, each load with every supply voltage.
    curve : tuple of Prediction
        Predictions of rising load, all else equal.
    remarks : Remarks or None
        What the person says beside the figures.
    photos : tuple of Photo
        Theirs, cleaned.
    answers : mapping of str to str
        What was answered before the run, by the code of the question.
    sheet : RunSheet or None
    note : str
        Of the session.
    generated : datetime or None
        When the report is made; None: not said.
    """

    session: str
    day: str
    amplifier: Amplifier
    bench: Bench
    results: tuple[CaptureResult, ...]
    judged: Judged | None = None
    models: tuple[BehaviourModel, ...] = ()
    on_terms: tuple[Comparison, ...] = ()
    terms_by: Literal["rated", "chosen"] = "chosen"
    foreseen: tuple[Foreseen, ...] = ()
    curve: tuple[Prediction, ...] = ()
    remarks: Remarks | None = None
    photos: tuple[Photo, ...] = ()
    answers: Mapping[str, str] = field(default_factory=dict)
    sheet: RunSheet | None = None
    note: str = ""
    generated: datetime | None = None
