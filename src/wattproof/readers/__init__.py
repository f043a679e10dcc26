"""Files others captured, one file a format, recognised by their first bytes."""
