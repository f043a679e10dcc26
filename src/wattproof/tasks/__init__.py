"""One function for each thing a user can ask: the library's front door."""
