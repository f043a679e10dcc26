"""How numbers and lists are said within a sentence."""

from collections.abc import Sequence

from wattproof.publish.wording import AND, JOIN, NUMBERS


def counted(phrase: str, number: int) -> str:
    """Put a number into a phrase of two forms.

    Examples
    --------
    >>> counted("one is met|{} are met", 1), counted("one is met|{} are met", 3)
    ('one is met', 'three are met')
    """
    one, _, many = phrase.partition("|")
    return one if number == 1 else many.format(number_word(number))


def number_word(number: int) -> str:
    """Write a small whole number in words.

    Examples
    --------
    >>> number_word(3), number_word(133)
    ('three', '133')
    """
    return NUMBERS[number] if 0 <= number < len(NUMBERS) else f"{number}"


def listed(items: Sequence[str]) -> str:
    """Join items as a sentence does.

    Examples
    --------
    >>> listed(["a"]), listed(["a", "b"]), listed(["a", "b", "c"])
    ('a', 'a and b', 'a, b and c')
    """
    if len(items) < 2:
        return "".join(items)
    return f"{JOIN.join(items[:-1])}{AND}{items[-1]}"
