"""`model` and `predict`: an amplifier's behaviour fitted to a session's figures, and what follows from it."""

import json
from collections.abc import Callable, Sequence
from math import isfinite
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from wattproof import __version__
from wattproof.amplifier import Amplifier
from wattproof.errors import SettingsError
from wattproof.fit import Asked, BehaviourModel, Prediction, fit_behaviour
from wattproof.fit import predict as predict_with
from wattproof.measure import CaptureResult
from wattproof.tasks.sessions import session_figures

_MOST = {"load": 1e4, "supply": 1e3, "thd": 40.0}
_EXAMPLES = {"load": "ohms, 2.67", "supply": "volts, 12.8", "thd": "per cent, 1"}


class _Answer(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)

    def to_json(self) -> str:
        """Write the one object that `--json` prints."""
        return json.dumps(self.model_dump(mode="json", by_alias=True), indent=2, ensure_ascii=False)


class Modelled(_Answer):
    """What `wattproof model` answers."""

    wattproof: str = __version__
    schema_: Literal[1] = Field(default=1, alias="schema")
    session: str
    model: BehaviourModel

    def text(self) -> str:
        """Write the fit as it prints itself."""
        from wattproof.report import model_text

        return model_text(self.model)


class Predicted(_Answer):
    """What `wattproof predict` answers."""

    wattproof: str = __version__
    schema_: Literal[1] = Field(default=1, alias="schema")
    session: str
    amplifier: str
    prediction: Prediction

    def text(self) -> str:
        """Write the prediction with its intervals and its basis."""
        from wattproof.report import prediction_text

        return prediction_text(self.prediction, amplifier=self.amplifier)


def model(
    session: str,
    *,
    archive: Path | None = None,
    output: str | None = None,
    driven: int | None = None,
    tell: Callable[[str], None] | None = None,
) -> Modelled:
    """Fit a model of the amplifier's behaviour to a session's figures: rail, resistance, limits, knee and losses.

    Parameters
    ----------
    session : str
        Name of the session, or a part of it that no other session has.
    archive : Path or None
        Folder of the archive.
    output : str or None
        One output only; all of them, taken for alike, when left out.
    driven : int or None
        Outputs driven at once in the captures to use; what most captures have when left out.
    tell : callable or None
        Gets a line before each capture that is measured.

    Raises
    ------
    ArchiveError
        There is no such session, or a kept capture is not what its hash says.
    MeasureError
        No capture holds a power at a limit together with its load and its supply voltage.
    """
    from wattproof.archive import Archive, default_root

    store = Archive(archive or default_root())
    found = store.open_session(session)
    measured = session_figures(found.id, archive=archive, tell=tell)
    name = f"{found.amplifier.maker} {found.amplifier.model}"
    kept = store.read_model(found, output=output) if driven is None else None
    if kept is not None:
        return Modelled(session=found.id, model=kept)
    fitted = fit_behaviour(measured.captures, amplifier=name, output=output, driven=driven, fed=_fed(found.amplifier))
    if driven is None:
        store.write_model(found, fitted)
    return Modelled(session=found.id, model=fitted)


def fitted_to(amplifier: Amplifier, captures: Sequence[CaptureResult]) -> BehaviourModel:
    """Fit a model to figures without keeping it.

    Raises
    ------
    MeasureError
        No capture holds a power at a limit together with its load and its supply voltage.
    """
    return fit_behaviour(captures, amplifier=f"{amplifier.maker} {amplifier.model}", fed=_fed(amplifier))


def _fed(amplifier: Amplifier) -> Literal["direct", "unknown"]:
    """Tell a bridge straight across the supply, by its word or by what was seen inside; other words are claims."""
    inside = amplifier.inside
    seen = inside is not None and inside.full_bridge is True and inside.converter is False
    return "direct" if seen or amplifier.supply == "direct" else "unknown"


def predict(
    session: str,
    *,
    load: float | None = None,
    supply: float | None = None,
    thd: float = 1.0,
    cable_mohm: float = 0.0,
    source_mohm: float = 0.0,
    archive: Path | None = None,
    output: str | None = None,
    driven: int | None = None,
    tell: Callable[[str], None] | None = None,
) -> Predicted:
    """Predict power, supply current, efficiency and heat under conditions that were not measured, or refuse.

    Parameters
    ----------
    session : str
        Name of the session, or a part of it that no other session has.
    load : float or None
        Ohms at each output; the lowest load of the captures when left out.
    supply : float or None
        Volts at the amplifier's terminals, or of the source where cable or source have resistance; the highest of the
        captures when left out.
    thd : float
        Limit of distortion, per cent.
    cable_mohm : float
        Of both leads together, milliohms.
    source_mohm : float
        Of battery or power supply, milliohms.
    archive : Path or None
        Folder of the archive.
    output : str or None
        One output only; all of them, taken for alike, when left out.
    driven : int or None
        Outputs driven at once; what most captures have when left out.
    tell : callable or None
        Gets a line before each capture that is measured.

    Raises
    ------
    BeyondDataError
        The captures say nothing about such a load, supply voltage or limit; or the supply would collapse.
    SettingsError
        A number is none that an amplifier can have.
    """
    _refuse_nonsense(load=load, supply=supply, thd=thd)
    _refuse_below_zero(cable_mohm=cable_mohm, source_mohm=source_mohm)
    fitted = model(session, archive=archive, output=output, driven=driven, tell=tell)
    known = fitted.model
    asked = Asked(
        load_ohm=known.load_ohm[0] if load is None else load,
        supply_v=known.supply_v[1] if supply is None else supply,
        source_ohm=(cable_mohm + source_mohm) / 1e3,
        thd_n=thd / 100,
        driven=known.driven,
    )
    return Predicted(session=fitted.session, amplifier=known.amplifier, prediction=predict_with(known, asked))


def _refuse_nonsense(**given: float | None) -> None:
    for name, value in given.items():
        if value is not None and not (isfinite(value) and 0 < value < _MOST[name]):
            raise SettingsError(
                f"--{name} cannot be {value:g}.",
                why=f"it takes a number above 0 and below {_MOST[name]:g}",
                hint=f"Correct --{name}: {_EXAMPLES[name]}.",
            )


def _refuse_below_zero(**given: float) -> None:
    for name, value in given.items():
        if not (isfinite(value) and value >= 0):
            option = f"--{name.replace('_', '-')}"
            raise SettingsError(
                f"{option} cannot be {value:g}.",
                why="a resistance is 0 or more",
                hint=f"Give {option} in milliohms, for example {option} 6, or leave it out.",
            )
