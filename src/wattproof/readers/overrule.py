"""The person's rate wins over the file's, and both are said."""

from wattproof.errors import Notice
from wattproof.readers.contract import Answers


def settled_rate(answers: Answers, file_hz: float) -> tuple[float, list[Notice]]:
    """Give samples a second, and a notice where `answers` overrule the file's own `file_hz`."""
    if answers.rate_hz is None or answers.rate_hz == file_hz:
        return file_hz, []
    notice = Notice(
        code="rate-overruled",
        message=f"The file states {file_hz:.9g} Hz; the stated --rate-hz {answers.rate_hz:.9g} is used.",
        hint="Leave --rate-hz out to use the file's own clock.",
        numbers={"file_hz": file_hz, "rate_hz": answers.rate_hz},
    )
    return answers.rate_hz, [notice]


def audio_answers(answers: Answers, file_hz: float) -> tuple[float, list[Notice]]:
    """As `settled_rate`, for files whose samples are fractions of full scale: no unit can change that."""
    rate_hz, notices = settled_rate(answers, file_hz)
    if answers.units:
        notices.append(
            Notice(
                code="unit-not-used",
                message="The samples of an audio file are fractions of full scale; the stated unit was not used.",
                hint="Say how many volts or amperes full scale is: the channel's scale in the bench file.",
            )
        )
    return rate_hz, notices
