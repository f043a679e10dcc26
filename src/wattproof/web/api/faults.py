"""The one shape in which scripts are told what did not work: that of the command line."""

from pydantic import BaseModel, ConfigDict

from wattproof.errors import WattproofError


class Fault(BaseModel):
    """What did not work, why, and what to do."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    code: str
    message: str
    why: str
    hint: str


class FaultAnswer(BaseModel):
    """Every answer that is no success."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    error: Fault


def fault_of(error: WattproofError) -> FaultAnswer:
    """Put an error into its shape."""
    return FaultAnswer(error=Fault(code=error.code, message=error.message, why=error.why, hint=error.hint))
