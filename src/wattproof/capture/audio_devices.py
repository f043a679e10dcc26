"""Audio interfaces through PortAudio: found by number or name, told to a person when they are not found."""

from dataclasses import dataclass
from types import ModuleType
from typing import Any

from wattproof.errors import RigError


@dataclass(frozen=True, kw_only=True)
class Device:
    """One device as one of the computer's sound systems shows it.

    Attributes
    ----------
    number : int
        PortAudio's index: what a bench file may name.
    name : str
    system : str
        The host API.
    inputs, outputs : int
        Channels.
    """

    number: int
    name: str
    system: str
    inputs: int
    outputs: int

    @property
    def words(self) -> str:
        """The device in a line."""
        return f'{self.number}: "{self.name}" ({self.system}, {self.inputs} in, {self.outputs} out)'


@dataclass(frozen=True, kw_only=True)
class Pair:
    """What records and what plays; one device, or two of one interface."""

    recorder: Device
    player: Device

    @property
    def words(self) -> str:
        """Who they are."""
        if self.recorder == self.player:
            return self.recorder.words
        return f"{self.recorder.words} with {self.player.words}"


def portaudio() -> Any:  # noqa: ANN401 - a module without types
    """Give the module that speaks to PortAudio.

    Raises
    ------
    RigError
        PortAudio itself is not installed.
    """
    try:
        import sounddevice
    except OSError as error:
        raise RigError(
            "The audio interface cannot be spoken to: PortAudio is missing.",
            why=str(error),
            hint="Install it: apt install libportaudio2 (Debian, Ubuntu), brew install portaudio (macOS). On Windows "
            "it comes with the Python package sounddevice: install that again.",
        ) from error
    return sounddevice


def devices(sound: ModuleType) -> tuple[Device, ...]:
    """List all devices; one whose name cannot be decoded hides no other."""
    systems = sound.query_hostapis()
    return tuple(_device(sound, number, system["name"]) for system in systems for number in system["devices"])


def _device(sound: ModuleType, number: int, system: str) -> Device:
    try:
        said = sound.query_devices(number)
    except UnicodeDecodeError as error:
        # the bytes are shown as far as they can be; its channels are tried when it is opened by number
        name = bytes(error.object).decode("utf-8", "replace")
        return Device(number=number, name=name, system=system, inputs=0, outputs=0)
    return Device(
        number=number,
        name=said["name"],
        system=system,
        inputs=said["max_input_channels"],
        outputs=said["max_output_channels"],
    )


def choose(
    there: tuple[Device, ...],
    wanted: str | int | None,
    *,
    inputs: int,
    outputs: int,
    usual: tuple[int, int] = (-1, -1),
) -> Pair:
    """Choose what records and plays.

    A number is one device. A name is first looked for as it stands, then as a part of a longer one, capitals or not;
    "name (system)" says which sound system is meant. An interface that shows its inputs and outputs as two devices of
    one name is one interface.

    Parameters
    ----------
    there : tuple of Device
    wanted : str, int or None
        Number or name; None takes the usual ones.
    inputs, outputs : int
        Channels that are needed.
    usual : tuple of int
        Numbers of the usual input and output.

    Raises
    ------
    RigError
        None fits, or several do; the message lists what there is.
    """
    if wanted is None:
        found = [d for number in usual for d in there if d.number == number]
        pairs = [Pair(recorder=found[0], player=found[-1])] if found else []
    elif isinstance(wanted, int):
        pairs = [Pair(recorder=d, player=d) for d in there if d.number == wanted]
    else:
        pairs = _named(there, wanted)
    fit = [pair for pair in pairs if pair.recorder.inputs >= inputs and pair.player.outputs >= outputs]
    if len(fit) == 1:
        return fit[0]
    raise _not_one(there, wanted, pairs, fit, f"{inputs} in and {outputs} out")


def _named(there: tuple[Device, ...], wanted: str) -> list[Pair]:
    word = wanted.casefold().strip()
    exact = [d for d in there if word in {d.name.casefold().strip(), f"{d.name} ({d.system})".casefold()}]
    found = exact or [d for d in there if word in f"{d.name} ({d.system})".casefold()]
    both = [Pair(recorder=d, player=d) for d in found if d.inputs and d.outputs]
    halves = [
        Pair(recorder=one, player=other)
        for one in found
        for other in found
        if one.system == other.system and one.inputs and not one.outputs and other.outputs and not other.inputs
    ]
    return both or halves or [Pair(recorder=d, player=d) for d in found]


def _not_one(
    there: tuple[Device, ...], wanted: str | int | None, pairs: list[Pair], fit: list[Pair], needed: str
) -> RigError:
    asked = "usual audio interface" if wanted is None else f"audio interface {wanted!r}"
    listed = "; ".join(device.words for device in there) or "none at all"
    if not pairs:
        return RigError(
            f"There is no {asked}.",
            why=f"The computer shows: {listed}.",
            hint="Plug it in and switch it on, or write the number or name of one of them as device under [rig].",
        )
    if not fit:
        return RigError(
            f"The {asked} has too few channels.",
            why=f"The bench file asks for {needed}; found: {'; '.join(pair.words for pair in pairs)}. "
            f"The computer shows: {listed}.",
            hint="Name another one as device under [rig], or correct input of [[channels]] and drive_outputs.",
        )
    return RigError(
        f"There are {len(fit)} devices that the {asked} may be.",
        why=f"They are: {'; '.join(pair.words for pair in fit)}.",
        hint="Write the number of the one that is meant as device under [rig], or its name with the sound system.",
    )
