"""Files others captured, one file a format, recognised by their first bytes."""

from wattproof.readers.contract import Answers, Reader
from wattproof.readers.registry import installed_readers, open_recording

__all__ = ["Answers", "Reader", "installed_readers", "open_recording"]
