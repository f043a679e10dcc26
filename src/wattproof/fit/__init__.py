"""The behaviour model of an amplifier fitted to figures, with covariance and complaints; predictions with intervals."""

from wattproof.fit.behaviour import fit_behaviour
from wattproof.fit.correct import Correction, correction
from wattproof.fit.model import (
    Asked,
    BehaviourModel,
    BenchSource,
    Estimate,
    LeftOut,
    Parameter,
    Prediction,
    SmallSignal,
)
from wattproof.fit.predict import predict
from wattproof.fit.small import resistance_of

__all__ = [
    "Asked",
    "BehaviourModel",
    "BenchSource",
    "Correction",
    "Estimate",
    "LeftOut",
    "Parameter",
    "Prediction",
    "SmallSignal",
    "correction",
    "fit_behaviour",
    "predict",
    "resistance_of",
]
