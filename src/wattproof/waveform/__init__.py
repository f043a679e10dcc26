"""Samples with their clock, their channels' names and their past."""

from wattproof.waveform.model import Channel, MemoryRecording, Recording, Waveform

__all__ = ["Channel", "MemoryRecording", "Recording", "Waveform"]
