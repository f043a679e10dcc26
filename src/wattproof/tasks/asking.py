"""Questions that a person answers before a run: said as CODE=WORDS, or asked for."""

from collections.abc import Mapping, Sequence

from wattproof.capture import Operator
from wattproof.errors import RefusedError, SettingsError
from wattproof.plan import Check, RunSheet, refusals


def answers_said(words: Sequence[str], sheet: RunSheet) -> dict[str, str]:
    """Take answers apart that were said as CODE=WORDS.

    Raises
    ------
    SettingsError
        No such question, or no answer to it.
    """
    codes = [question.code for question in sheet.questions]
    answers = {}
    for word in words:
        code, mark, said = (part.strip() for part in word.partition("="))
        if not mark or not said or code not in codes:
            raise SettingsError(
                f'"{word}" answers no question of this run.',
                why=f"its questions are {', '.join(codes) or 'none'}",
                hint=f"Write for example --answer {codes[0] if codes else 'hardware-stop'}=yes",
            )
        answers[code] = said
    return answers


def asked(sheet: RunSheet, answers: Mapping[str, str], operator: Operator | None) -> dict[str, str]:
    """Ask for what is not answered yet, where there is somebody to ask."""
    answered = dict(answers)
    for question in sheet.questions if operator is not None else ():
        if not answered.get(question.code, "").strip() and operator is not None:
            answered[question.code] = operator.choose(f"{question.text}\n  {question.why}", question.choices)
    return answered


def refuse(sheet: RunSheet, answers: Mapping[str, str]) -> None:
    """Refuse a run that must not begin, with all the reasons at once.

    Raises
    ------
    RefusedError
        A check is refused, a question is open, or an answer does not allow the run.
    """
    reasons = refusals(sheet, answers)
    if not reasons:
        return
    open_codes = [reason.code.removeprefix("question-") for reason in reasons if reason.code.startswith("question-")]
    hint = "\n".join(dict.fromkeys(reason.hint for reason in reasons if reason.hint))
    if open_codes:
        hint = f"{hint}\nAnswers are given as {' '.join(f'--answer {code}=...' for code in open_codes[:2])}".strip()
    raise RefusedError("This run must not begin.", why="\n".join(_why(reason) for reason in reasons), hint=hint)


def _why(check: Check) -> str:
    return check.message if check.step is None else f"step {check.step}: {check.message}"
