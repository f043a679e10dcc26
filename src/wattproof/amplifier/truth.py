"""Yes or no in a file that a person writes."""

from typing import Annotated

from pydantic import BeforeValidator

from wattproof.settings import custom_fault


def _truth(value: object) -> object:
    """Let true and false through: 1 or "yes" may mean something else."""
    if isinstance(value, bool):
        return value
    raise custom_fault(f"{value} is neither true nor false", "write true or false, without quotation marks")


Truth = Annotated[bool, BeforeValidator(_truth)]
