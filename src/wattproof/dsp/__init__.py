"""Arrays in, numbers out: tone fit, spectra, weighting, band limits, bursts."""

from wattproof.dsp.tone import FEWEST_CYCLES, ToneFit, fit_at, fit_tone

__all__ = ["FEWEST_CYCLES", "ToneFit", "fit_at", "fit_tone"]
