"""Answers that a file made unnecessary: said aloud, never silently dropped."""

from wattproof.errors import Notice
from wattproof.readers.contract import Answers


def unused_answers(answers: Answers, rate_hz: float) -> list[Notice]:
    """Say that the file's own `rate_hz` was used where the person gave another."""
    if answers.rate_hz is None or answers.rate_hz == rate_hz:
        return []
    return [
        Notice(
            code="answer-not-used",
            message=f"The file states {rate_hz:.9g} Hz; the stated --rate-hz {answers.rate_hz:.9g} was not used.",
            hint="Leave the option out, or correct the file's header if it is wrong.",
            numbers={"file_hz": rate_hz, "answer_hz": answers.rate_hz},
        )
    ]
