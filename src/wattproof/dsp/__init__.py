"""Arrays in, numbers out: tone fit, spectra, weighting, band limits, bursts."""

from wattproof.dsp.band import band_limit, tone_band
from wattproof.dsp.clipping import flat_top, highest_harmonic_in_band
from wattproof.dsp.frames import FrameFit, FrameGrid, cut_frames, fit_frames, frame_means, whole_cycles
from wattproof.dsp.lines import Line, MainsHum, find_lines, find_mains, noise_without_lines
from wattproof.dsp.peaks import true_peak
from wattproof.dsp.spectrum import (
    Spectrum,
    alias_of,
    band_power,
    cross_band_power,
    display_spectrum,
    frequencies_folding_to,
    noise_degrees_of_freedom,
    spectrum_of,
)
from wattproof.dsp.tone import FEWEST_CYCLES, ToneFit, fit_at, fit_tone
from wattproof.dsp.weighting import a_weighting

__all__ = [
    "FEWEST_CYCLES",
    "FrameFit",
    "FrameGrid",
    "Line",
    "MainsHum",
    "Spectrum",
    "ToneFit",
    "a_weighting",
    "alias_of",
    "band_limit",
    "band_power",
    "cross_band_power",
    "cut_frames",
    "display_spectrum",
    "find_lines",
    "find_mains",
    "fit_at",
    "fit_frames",
    "fit_tone",
    "flat_top",
    "frame_means",
    "frequencies_folding_to",
    "highest_harmonic_in_band",
    "noise_degrees_of_freedom",
    "noise_without_lines",
    "spectrum_of",
    "tone_band",
    "true_peak",
    "whole_cycles",
]
