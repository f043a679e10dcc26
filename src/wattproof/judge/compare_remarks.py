"""Conditions of the powers that differ between sessions and that nothing corrects."""

from collections.abc import Sequence

from wattproof.judge.compare_points import Side, condition

_ONE_TONE = 1.05
_BASES = {"total": "the whole signal", "fundamental": "the fundamental"}


def remarks_of(sides: Sequence[Side]) -> tuple[str, ...]:
    """Tell of tones, of what distortion refers to, and of controls that differ."""
    return (*_tones(sides), *_bases(sides), *_kinds(sides), *_controls(sides))


def _tones(sides: Sequence[Side]) -> list[str]:
    tones = {side.name: _middle_tone(side) for side in sides}
    known = [tone_hz for tone_hz in tones.values() if tone_hz is not None]
    if len(known) < 2 or max(known) / min(known) <= _ONE_TONE:
        return []
    listed = ", ".join(f"{tone_hz:.4g} Hz in {name}" for name, tone_hz in tones.items() if tone_hz is not None)
    return [f"The tones differ: {listed}. A filter, a boost or a weak rail may make the power another one there."]


def _middle_tone(side: Side) -> float | None:
    tones = sorted(tone_hz for point in side.points if (tone_hz := condition(point.figure, "frequency_hz")) is not None)
    return tones[len(tones) // 2] if tones else None


def _bases(sides: Sequence[Side]) -> list[str]:
    found = {str(point.figure.conditions["thd_basis"]) for side in sides for point in side.points
             if "thd_basis" in point.figure.conditions}  # fmt: skip
    if len(found) < 2:
        return []
    listed = " and ".join(_BASES.get(basis, basis) for basis in sorted(found))
    return [f"Distortion refers to {listed}: at 10 % the two differ by half a per cent of it, at 1 % by nothing."]


def _kinds(sides: Sequence[Side]) -> list[str]:
    kinds = {side.name: {point.result.kind == "readings" for point in side.points} for side in sides if side.points}
    typed = [name for name, found in kinds.items() if found == {True}]
    if not typed or len(typed) == len(kinds):
        return []
    return [f"Typed from meters, not recorded: {', '.join(typed)}."]


def _controls(sides: Sequence[Side]) -> list[str]:
    said = []
    controls = [side.subject.amplifier.controls for side in sides]
    for name in dict.fromkeys(name for found in controls for name in found):
        stood = {side.name: side.subject.amplifier.controls.get(name) for side in sides}
        if len({position for position in stood.values() if position is not None}) > 1:
            listed = ", ".join(f"{position} in {session}" for session, position in stood.items() if position)
            said.append(f'The control "{name}" stood differently: {listed}.')
    return said
