"""Words to tasks and back."""

from wattproof.cli.app import COMMANDS, main

__all__ = ["COMMANDS", "main"]
