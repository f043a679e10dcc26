"""The behaviour model of an amplifier fitted to figures, with covariance and complaints; predictions with intervals."""

from wattproof.fit.model import Asked, BehaviourModel, BenchSource, Estimate, LeftOut, Parameter, Prediction

__all__ = ["Asked", "BehaviourModel", "BenchSource", "Estimate", "LeftOut", "Parameter", "Prediction"]
