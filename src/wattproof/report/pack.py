"""What became of a pack, as text: what was found, then published figures beside those measured again."""

import textwrap
from collections.abc import Iterator, Mapping, Sequence
from math import isfinite
from types import MappingProxyType
from typing import Protocol

from wattproof.measure import Figure
from wattproof.report.faces import face_name, face_value

WIDEST = 116
SAID: Mapping[str, str] = MappingProxyType(
    {
        "packed": "Packed session {session}: {captures} captures, {figures} figures, {verdicts} verdicts",
        "into": "  in {file}, {files} files, {megabytes:.1f} MB",
        "digest": "  manifest {digest}",
        "signed": "  signed by the key {fingerprint}",
        "unsigned": "  not signed: it proves that its parts fit each other, not who made it (--sign KEY)",
        "next": "Anyone can check it: wattproof verify {file}",
        "key": "Secret key: {secret} ({sealed})\n  keep it to yourself, with a copy somewhere safe: it can be neither "
        "restored nor revoked",
        "sealed": "sealed by its passphrase",
        "open": "not sealed: whoever can read the file can sign as you",
        "public": "Public key: {public}\n  for everybody: publish it where people know you",
        "fingerprint": "Fingerprint: {fingerprint}",
        "title": "{file}: session {session}",
        "by": "Packed by Wattproof {packed}; measured again by Wattproof {here}.",
        "with": "Other versions here: {versions}. Figures may differ in digits that are not printed.",
        "other": "To repeat it exactly install Wattproof {packed}: another version may give and word things otherwise.",
        "none": "Not signed. Its parts can be held against each other, but nothing says who made it: anyone can make a "
        "pack of other captures that fits as well.",
        "good": "Signed by the key {fingerprint}.",
        "vouched": "That is the key you gave.",
        "unvouched": "Compare this with the fingerprint that the tester publishes, or name that key with --key.",
        "bad": "The signature is not that of the key {fingerprint} over this manifest.",
        "files": "Files: {files}, each hashed.",
        "found": "Found, {count}:",
        "wrong": "Not as published",
        "figures": "Published and measured again",
        "again": "measured again",
        "judged": "judged again",
        "criterion": "A figure is reproduced where it differs by less than half its last printed digit, which is the "
        "second digit of its ± (95 %); u is its standard uncertainty.",
        "verdicts": "Verdicts, published and judged again",
        "all": "REPRODUCED: all {figures} figures{verdicts}, and every part fits the others.",
        "near": "{count} of them differ in digits that are not printed.",
        "not": "NOT REPRODUCED: {what}.",
    }
)
"""Every word of this text."""

STATES: Mapping[str, str] = MappingProxyType(
    {
        "same": "same",
        "near": "same as printed",
        "differs": "DIFFERS",
        "added": "NOT IN THE CAPTURES",
        "left out": "NOT PUBLISHED",
        "unchecked": "NOT CHECKED",
    }
)
_GOOD = ("same", "near")


class _Finding(Protocol):
    """Something about a part of a pack: where, what kind, from what to what."""

    @property
    def where(self) -> str: ...
    @property
    def what(self) -> str: ...
    @property
    def detail(self) -> str: ...


class _Field(Protocol):
    """A part of a figure or a verdict that is not the same."""

    @property
    def field(self) -> str: ...
    @property
    def published(self) -> object: ...
    @property
    def again(self) -> object: ...


class _Compared(Protocol):
    @property
    def state(self) -> str: ...
    @property
    def fields(self) -> Sequence[_Field]: ...


class _FigurePair(_Compared, Protocol):
    """A figure as published and as measured again; None where it is not on that side."""

    @property
    def capture(self) -> int: ...
    @property
    def name(self) -> str: ...
    @property
    def output(self) -> str | None: ...
    @property
    def published(self) -> Figure | None: ...
    @property
    def again(self) -> Figure | None: ...
    @property
    def over_u(self) -> float | None: ...


class _VerdictPair(_Compared, Protocol):
    """A verdict as published and as judged again."""

    @property
    def words(self) -> str: ...
    @property
    def reading(self) -> str: ...
    @property
    def published(self) -> str | None: ...
    @property
    def again(self) -> str | None: ...


def packed_text(
    *,
    file: str,
    session: str,
    size_bytes: int,
    files: int,
    captures: int,
    figures: int,
    verdicts: int,
    manifest_digest: str,
    signed_by: str,
) -> str:
    """Write what a session was packed into.

    Parameters
    ----------
    file : str
        The pack.
    session : str
        Its name.
    size_bytes : int
        Of the pack.
    files, captures, figures, verdicts : int
        How many it holds.
    manifest_digest : str
        SHA-256 of what the manifest says.
    signed_by : str
        Fingerprint of the key; empty: not signed.
    """
    lines = [
        SAID["packed"].format(session=session, captures=captures, figures=figures, verdicts=verdicts),
        SAID["into"].format(file=file, files=files, megabytes=size_bytes / 1e6),
        SAID["digest"].format(digest=manifest_digest),
        SAID["signed"].format(fingerprint=signed_by) if signed_by else SAID["unsigned"],
        "",
        SAID["next"].format(file=file),
    ]
    return "\n".join(lines)


def key_text(*, secret: str, public: str, fingerprint: str, sealed: bool) -> str:
    """Write where a new key is, what it is told by, and what to do with either half.

    Parameters
    ----------
    secret, public : str
        The two files.
    fingerprint : str
        Of the public key.
    sealed : bool
        The secret key has a passphrase.
    """
    return "\n".join(
        (
            SAID["key"].format(secret=secret, sealed=SAID["sealed" if sealed else "open"]),
            SAID["public"].format(public=public),
            SAID["fingerprint"].format(fingerprint=fingerprint),
        )
    )


def compared_figures(pairs: Sequence[_FigurePair]) -> list[tuple[str, str, str, str, bool]]:
    """Give a row a figure: what it is, as published, as measured again, how they compare, and whether that is good.

    Parameters
    ----------
    pairs : sequence of figures as published and as measured again
        Those that are not as published are given first.
    """
    rows = []
    for pair in sorted(pairs, key=lambda one: one.state in _GOOD):
        one = pair.published or pair.again
        name = pair.name if one is None else face_name(one)
        what = f"capture {pair.capture}: {name}{'' if pair.output is None else f', output {pair.output}'}"
        faces = ["none" if side is None else face_value(side) for side in (pair.published, pair.again)]
        rows.append((what, faces[0], faces[1], STATES[pair.state], pair.state in _GOOD))
    return rows


def compared_verdicts(pairs: Sequence[_VerdictPair]) -> list[tuple[str, str, str, str, bool]]:
    """Give a row a verdict, as `compared_figures` does for figures.

    Parameters
    ----------
    pairs : sequence of verdicts as published and as judged again
    """
    return [
        (f"{one.words}: {one.reading}", one.published or "none", one.again or "none", STATES[one.state],
         one.state in _GOOD)
        for one in sorted(pairs, key=lambda pair: pair.state in _GOOD)
    ]  # fmt: skip


def verified_text(
    *,
    file: str,
    session: str,
    amplifier: str,
    packed_by: str,
    here: str,
    versions: Mapping[str, tuple[str, str]],
    files: int,
    signature: str,
    fingerprint: str,
    key_given: bool,
    findings: Sequence[_Finding],
    figures: Sequence[_FigurePair],
    verdicts: Sequence[_VerdictPair],
    reproduced: bool,
) -> str:
    """Write what verifying a pack has found; text of the pack itself is made harmless for a terminal.

    Parameters
    ----------
    file, session, amplifier : str
        What was verified.
    packed_by, here : str
        Versions of Wattproof.
    versions : mapping of str to (str, str)
        What figures were computed with then and are now, where these differ.
    files : int
        How many the manifest lists.
    signature : "none", "good" or "bad"
    fingerprint : str
        Of the key that the pack names.
    key_given : bool
        The person named a key.
    findings, figures, verdicts : sequences
        What was found.
    reproduced : bool

    Returns
    -------
    str
        The outcome first, then what was found, then the tables.
    """
    lines = [SAID["title"].format(file=file, session=session) + (f", {amplifier}" if amplifier else "")]
    lines += [_outcome(findings, figures, verdicts, reproduced=reproduced), ""]
    lines += _wrapped(SAID["by"].format(packed=packed_by, here=here))
    if packed_by != here:
        lines += _wrapped(SAID["other"].format(packed=packed_by))
    if versions:
        told = ", ".join(f"{name} {now} ({then} then)" for name, (then, now) in versions.items())
        lines += _wrapped(SAID["with"].format(versions=told))
    lines += _signature_lines(signature, fingerprint, findings, key_given=key_given)
    lines += [SAID["files"].format(files=files)]
    lines += _finding_lines(findings)
    wrong = [one for one in figures if one.state not in _GOOD]
    lines += _figure_lines(wrong, SAID["wrong"])
    lines += _figure_lines(figures, SAID["figures"])
    lines += _wrapped(SAID["criterion"]) if figures else []
    lines += _verdict_lines(verdicts)
    return "\n".join(harmless(line) for line in lines)


def harmless(text: str) -> str:
    r"""Spell out what a terminal would obey or not show, as in ``\x1b``.

    Examples
    --------
    >>> harmless("4 Ω\x1b[2J")
    '4 Ω\\x1b[2J'
    """
    return "".join(letter if letter.isprintable() else ascii(letter)[1:-1] for letter in text)


def _outcome(
    findings: Sequence[_Finding],
    figures: Sequence[_FigurePair],
    verdicts: Sequence[_VerdictPair],
    *,
    reproduced: bool,
) -> str:
    if reproduced:
        judged = f" and {len(verdicts)} verdicts" if verdicts else ""
        near = sum(one.state == "near" for one in figures)
        told = f" {SAID['near'].format(count=near)}" if near else ""
        return SAID["all"].format(figures=len(figures), verdicts=judged) + told
    counts = (
        (sum(one.state not in _GOOD for one in figures), f"of {len(figures)} figures"),
        (sum(one.state not in _GOOD for one in verdicts), f"of {len(verdicts)} verdicts"),
        (len(findings), f"finding{'s' if len(findings) > 1 else ''} about its parts"),
    )
    return SAID["not"].format(what=", ".join(f"{count} {words}" for count, words in counts if count))


def _signature_lines(state: str, fingerprint: str, findings: Sequence[_Finding], *, key_given: bool) -> list[str]:
    words = SAID[state].format(fingerprint=fingerprint)
    if state == "good":
        trusted = key_given and not any(finding.what == "signature" for finding in findings)
        words += f" {SAID['vouched']}" if trusted else "" if key_given else f" {SAID['unvouched']}"
    return _wrapped(words)


def _finding_lines(findings: Sequence[_Finding]) -> list[str]:
    if not findings:
        return []
    lines = ["", SAID["found"].format(count=len(findings))]
    for finding in findings:
        lines += _wrapped(f"{finding.what.upper()}  {harmless(finding.where)}: {finding.detail}", "  ", "    ")
    return lines


def _figure_lines(figures: Sequence[_FigurePair], title: str) -> Iterator[str]:
    if not figures:
        return
    rows = [("capture", "figure", "published", "measured again", "difference", "")]
    rows += [
        (str(one.capture), _name(one), _value(one.published), _value(one.again), _difference(one), STATES[one.state])
        for one in figures
    ]
    widths = [max(len(row[n]) for row in rows) for n in range(len(rows[0]))]
    yield from ("", title)
    for row, one in zip(rows, (None, *figures), strict=True):
        yield "  ".join(f"{cell:<{width}}" for cell, width in zip(row, widths, strict=True)).rstrip()
        if one is not None and title == SAID["wrong"]:
            yield from _fields(one.fields, SAID["again"])


def _name(one: _FigurePair) -> str:
    figure = one.published or one.again
    name = face_name(figure) if figure else one.name
    return f"{name}{'' if one.output is None else f' ({one.output})'}"[:56]


def _value(figure: Figure | None) -> str:
    return "-" if figure is None else face_value(figure)


def _difference(one: _FigurePair) -> str:
    if one.state == "same":
        return "0"
    if one.published is None or one.again is None:
        return ""
    apart = one.again.value - one.published.value
    if apart == 0:
        return "0"
    share = "" if one.over_u is None or not isfinite(one.over_u) else f" ({one.over_u:+.2g} u)"
    return f"{apart:+.2g} {one.published.unit}{share}"


def _fields(fields: Sequence[_Field], again: str) -> Iterator[str]:
    for field in fields:
        words = f"{field.field}: {_plain(field.published)} published, {_plain(field.again)} {again}"
        yield from _wrapped(words, "      ", "        ")


def _plain(value: object) -> str:
    return "nothing" if value is None else f"{value:.10g}" if isinstance(value, float) else str(value)


def _verdict_lines(verdicts: Sequence[_VerdictPair]) -> Iterator[str]:
    if not verdicts:
        return
    yield from ("", SAID["verdicts"])
    for one in verdicts:
        words = f"{one.words}, read as {one.reading}: {one.published or '-'}"
        again = "" if one.published == one.again else f"; judged again: {one.again or '-'}"
        yield from _wrapped(f"{STATES[one.state]}  {words}{again}", "  ", "    ")
        if one.state not in _GOOD:
            yield from _fields([field for field in one.fields if field.field != "verdict"], SAID["judged"])


def _wrapped(text: str, first: str = "", more: str = "  ") -> list[str]:
    return textwrap.wrap(text, WIDEST, initial_indent=first, subsequent_indent=more, break_on_hyphens=False)
