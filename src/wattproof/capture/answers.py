"""An instrument's answer as text, or why there is none."""

from wattproof.errors import WireError

SHOWN_BYTES = 40
"""So much of an odd answer is shown."""

_ENDS = {b"\n": "LF", b"\r": "CR", b"\r\n": "CR LF"}


def text_of(answer: bytes, *, where: str, asked: str) -> str:
    """Give an answer as text without its end and without spaces around it.

    Parameters
    ----------
    answer : bytes
        UTF-8, or the Latin-1 of older instruments.
    where, asked : str
        The instrument and the question, for messages.

    Raises
    ------
    WireError
        It is empty, or no text.
    """
    try:
        text = answer.decode("utf-8").strip()
    except UnicodeDecodeError:
        text = answer.decode("latin-1").strip()
    if not text:
        raise WireError(
            f'{where} answered "{asked}" with an empty line.',
            why="an empty answer is no answer",
            hint="See in its manual whether it knows that question, and correct it in the instrument's file.",
        )
    if not all(sign.isprintable() or sign == "\t" for sign in text):
        raise WireError(
            f'{where} answered "{asked}" with what is no text.',
            why=f"it sent {answer[:SHOWN_BYTES]!r}",
            hint="Check that the address is that instrument's, and on a serial line the baud rate.",
        )
    return text


def silence(*, where: str, asked: str, timeout_s: float, n_came: int, came: bytes, end: bytes) -> WireError:
    """Tell that the time for an answer is over: how much came, and the end of a line that did not.

    Parameters
    ----------
    where, asked : str
        The instrument and the question.
    timeout_s : float, s
        The time it had.
    n_came : int
        Bytes that came; `came` holds the first of them.
    came : bytes
    end : bytes
        The end that was waited for; empty where none was.
    """
    message = f'{where} did not answer "{asked}" within {timeout_s:g} s.'
    if not n_came:
        return WireError(
            message,
            why="nothing came",
            hint="Check that it is on, its cable and its address, and that it knows this question; "
            "if it is only slow, raise timeout_s in the bench file.",
        )
    shown = f"{n_came} bytes came, {came!r}" + ("..." if n_came > len(came) else "")
    if not end:
        return WireError(message, why=f"{shown}, and no more", hint="Raise timeout_s in the bench file if it is slow.")
    return WireError(
        message,
        why=f"{shown}, but not the end of a line ({_ENDS.get(end, repr(end))})",
        hint='Write answer_end = "" in the instrument\'s file if it ends its answers with nothing, '
        "or what it does end them with; if it is only slow, raise timeout_s in the bench file.",
    )
