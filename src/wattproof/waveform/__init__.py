"""Samples with their clock, their channels' names and their past."""

from wattproof.waveform.model import Channel, MemoryRecording, Recording, Waveform
from wattproof.waveform.renamed import RenamedRecording

__all__ = ["Channel", "MemoryRecording", "Recording", "RenamedRecording", "Waveform"]
