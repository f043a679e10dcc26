"""Words to tasks and back."""

from wattproof.cli.app import main
from wattproof.cli.words import COMMANDS

__all__ = ["COMMANDS", "main"]
