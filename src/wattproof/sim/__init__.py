"""A made-up amplifier on a made-up bench; reached by name only."""
