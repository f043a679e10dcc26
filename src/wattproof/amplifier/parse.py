"""The amplifier file: text to a checked `Amplifier`, or one error with all its faults."""

from collections.abc import Iterator, Mapping
from typing import Any

from wattproof.amplifier.model import Amplifier
from wattproof.settings import Clash, parse_settings


def parse_amplifier(text: str, *, file: str) -> Amplifier:
    r"""Read the text of an `amplifier.toml`.

    Parameters
    ----------
    text : str
        Content of the file.
    file : str
        Its name, for messages.

    Returns
    -------
    Amplifier

    Raises
    ------
    SettingsError
        A wrong key, unit, type or value, an output named twice, or no TOML: each with its line, what is wrong and
        what would be right, all at once.

    Examples
    --------
    >>> parse_amplifier('maker = "Saltmarsh & Daughter"\nmodel = "Bittern 1"\n', file="amplifier.toml").outputs
    ('A',)
    """
    return parse_settings(text, Amplifier, file=file, clashes=_outputs_twice)


def _outputs_twice(data: Mapping[str, Any]) -> Iterator[Clash]:
    outputs = data.get("outputs")
    if not isinstance(outputs, list):
        return
    for number, output in enumerate(outputs):
        if isinstance(output, str) and output in outputs[:number]:
            yield Clash(("outputs", number), f'output "{output}" is named twice', "give every output its own name")
