"""The behaviour model of an amplifier fitted to figures, with covariance and complaints; predictions with intervals."""

from wattproof.fit.behaviour import fit_behaviour
from wattproof.fit.correct import Correction, correction
from wattproof.fit.model import Asked, BehaviourModel, BenchSource, Estimate, LeftOut, Parameter, Prediction
from wattproof.fit.predict import predict

__all__ = [
    "Asked",
    "BehaviourModel",
    "BenchSource",
    "Correction",
    "Estimate",
    "LeftOut",
    "Parameter",
    "Prediction",
    "correction",
    "fit_behaviour",
    "predict",
]
