"""What one model says: commands and answers of its file, spoken over a wire; a refused command is an error."""

import re
import time
from collections.abc import Mapping, Sequence

from wattproof.capture.instrument import Ask, AskState, Instrument
from wattproof.capture.wire import Wire
from wattproof.errors import WireError

_NUMBER = re.compile(r"(?<![\w.])[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?(?![\d.])")
_SIGNS = frozenset("+-.0123456789")
_GOES_ON = re.compile(r"[\d.]|[eE][-+]?\d")
_NO_NUMBER = re.compile(r"[-+]?(?:nan|inf|infinity)", re.IGNORECASE)

_OFF_SCALE = 9.8e37
"""At and beyond this SCPI means: over range, or no number."""


class Driver:
    """An instrument that has told who it is.

    Parameters
    ----------
    wire : Wire
        Open; closed again when the instrument does not answer or is another one.
    words : Instrument
        Its file.
    name : str
        What the bench file calls it, for messages; its file's name for it when left out.

    Raises
    ------
    WireError
        It does not answer, is not the instrument of the file, or refuses the commands it begins with.
    """

    def __init__(self, wire: Wire, words: Instrument, *, name: str = "") -> None:
        self.wire, self.words = wire, words
        self.name = name or words.name
        try:
            self.identity = self._identity()
            self.say(*words.begin)
        except WireError:
            wire.close()
            raise

    def _identity(self) -> str:
        if not self.words.identity:
            return f"{self.name} (it is not asked who it is)"
        said, wanted = self.wire.query(self.words.identity), self.words.identity_says
        if wanted is not None and wanted.lower() not in said.lower():
            raise WireError(
                f"{self.wire.where} is not the instrument of the file.",
                why=f'it says "{said[:80]}"; "{wanted}" belongs in it',
                hint="Correct the address or the instrument in the bench file, or identity_says in the instrument's.",
            )
        return said

    def say(self, *templates: str, values: Mapping[str, float | str] | None = None, checked: bool = True) -> None:
        """Say commands with their values, then ask whether they were understood.

        Parameters
        ----------
        templates : str
            Commands of the file.
        values : mapping of str to float or str
            By the names of their placeholders.
        checked : bool
            Whether to read the error queue, where there is one.

        Raises
        ------
        WireError
            It is gone, or its error queue tells of a fault.
        """
        said = [template.format_map(values or {}) for template in templates]
        for command in said:
            self.wire.write(command)
        if checked and said:
            self.raise_errors(said)

    def ask(self, question: str) -> str:
        """Ask a question of the file and give the answer's line.

        Raises
        ------
        WireError
            No answer.
        """
        return self.wire.query(question.format_map({}))  # a brace that is meant stands twice, as in commands

    def raise_errors(self, said: Sequence[str]) -> None:
        """Empty the error queue, where there is one.

        Raises
        ------
        WireError
            It held errors: all of them are told.
        """
        queue, found = self.words.errors, list[str]()
        if queue is None:
            return
        for _ in range(queue.most):
            answer = self.ask(queue.ask)
            if re.match(queue.none, answer, re.IGNORECASE):
                break
            found.append(answer)
        if found:
            raise WireError(
                f"{self.wire.where} reports {len(found)} error{'s' if len(found) > 1 else ''}.",
                why=f"it says {'; '.join(found)}; it was told {'; '.join(said)}",
                hint="Correct the command in the instrument's file, or the value it cannot take.",
            )

    def number(self, question: Ask, *, answers: dict[str, str] | None = None) -> float:
        """Ask for a number, SI unit.

        Parameters
        ----------
        question : Ask
        answers : dict of str to str
            Answers to questions asked before, which are not asked again; new ones are added.

        Raises
        ------
        WireError
            No number in the answer, several of which nobody said which is meant, or one that means over range.
        """
        answers = {} if answers is None else answers
        if question.ask not in answers:
            answers[question.ask] = self.ask(question.ask)
        value = self._value(question, answers[question.ask])
        return question.offset + question.scale * value

    def _value(self, question: Ask, answer: str) -> float:
        text = self._field(question, answer)
        if question.pattern is not None:
            found = re.search(question.pattern, text)
            if found is None:
                raise self._unread(question, answer, f'the pattern "{question.pattern}" does not fit')
            group = found.re.groups
            if _GOES_ON.match(text, found.end(group)) or text[: found.start(group)][-1:] in _SIGNS:
                raise self._unread(question, answer, f'the pattern "{question.pattern}" cuts a number in two')
            text = found.group(group)
        numbers = _NUMBER.findall(text)
        named = _NO_NUMBER.fullmatch(text.strip()) is not None
        if len(numbers) != 1 and not named:
            raise self._unread(question, answer, f"there are {len(numbers)} numbers in it; one belongs there")
        if named or abs(value := float(numbers[0])) >= _OFF_SCALE:
            raise WireError(
                f'{self.wire.where} answered "{question.ask}" with its sign for over range or no number.',
                why=f'it says "{answer[:80]}"',
                hint="Choose a larger range, or see whether its leads are connected.",
            )
        return value

    def _field(self, question: Ask, answer: str) -> str:
        if question.field is None:
            return answer
        fields = answer.split(",")
        if question.field > len(fields):
            raise self._unread(question, answer, f"it has {len(fields)} fields; field {question.field} is asked for")
        return fields[question.field - 1]

    def _unread(self, question: Ask, answer: str, why: str) -> WireError:
        return WireError(
            f'{self.wire.where} answered "{question.ask}" with what cannot be read as a number.',
            why=f'it says "{answer[:80]}": {why}',
            hint='Write pattern = "..." with parentheses around the number beside ask in the instrument\'s file.',
        )

    def state(self, question: AskState) -> bool:
        """Ask for yes or no.

        Raises
        ------
        WireError
            The answer is neither.
        """
        answer = self.ask(question.ask)
        if re.fullmatch(question.yes, answer, re.IGNORECASE):
            return True
        if question.no is None or re.fullmatch(question.no, answer, re.IGNORECASE):
            return False
        raise WireError(
            f'{self.wire.where} answered "{question.ask}" with neither yes nor no.',
            why=f'it says "{answer[:80]}"; yes is "{question.yes}", no is "{question.no}"',
            hint="Correct yes and no in the instrument's file.",
        )

    def settle(self) -> None:
        """Wait as long as the file says after switching."""
        time.sleep(self.words.settle_s)

    def close(self) -> None:
        """Say good-bye and let go of it."""
        try:
            self.say(*self.words.end, checked=False)
        except WireError:
            pass  # it is gone already
        finally:
            self.wire.close()
