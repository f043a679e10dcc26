"""Arrays in, numbers out: tone fit, spectra, weighting, band limits, bursts."""
