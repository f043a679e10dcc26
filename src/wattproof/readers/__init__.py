"""Files others captured, one file a format, recognised by their first bytes."""

from wattproof.readers.contract import Answers, Reader
from wattproof.readers.registry import installed_readers, open_recording
from wattproof.readers.summary import FileSummary, summarize

__all__ = ["Answers", "FileSummary", "Reader", "installed_readers", "open_recording", "summarize"]
