"""WAV and its family: RIFF, big-endian RIFX, RF64 and BW64 with 64-bit lengths, and W64."""

from pathlib import Path

from wattproof.errors import BrokenFileError, Notice
from wattproof.readers.chunks import Chunk, ChunkMap, Layout, walk
from wattproof.readers.contract import Answers
from wattproof.readers.overrule import audio_answers
from wattproof.readers.pcm import PcmRecording
from wattproof.readers.wav_format import FLOAT, parse_format, settle_coding
from wattproof.readers.wav_text import metadata_of
from wattproof.waveform import Channel

FAMILIES = {b"RIFF": Layout(), b"RIFX": Layout(order=">"), b"RF64": Layout(), b"BW64": Layout()}
W64_ID = bytes.fromhex("72696666 2e91 cf11 a5d6 28db04c10000")
W64_WAVE = bytes.fromhex("77617665 f3ac d311 8cd1 00c04f8edb8a")
W64 = Layout(name_bytes=16, size_bytes=8, size_has_header=True, align=8)


class WavReader:
    """Reads WAV files by a header walk of our own: writers get their lengths wrong in many ways."""

    name = "wav"
    suffixes = (".wav", ".wave", ".rf64", ".bw64", ".bwf", ".w64")

    def sniff(self, head: bytes) -> bool:
        """Say whether the first bytes name a WAV family and its wave form."""
        return (head[:4] in FAMILIES and head[8:12] == b"WAVE") or (head[:16] == W64_ID and head[24:40] == W64_WAVE)

    def open(self, path: Path, answers: Answers) -> PcmRecording:
        """Open a WAV file; values are fractions of full scale."""
        size = path.stat().st_size
        with path.open("rb") as file:
            head = file.read(40)
            layout, start = FAMILIES.get(head[:4], W64), 12 if head[:4] in FAMILIES else 40
            chunks = walk(file, layout, start=start, end=size)
            form, sound = _needed(chunks, "fmt ", path), _needed(chunks, "data", path)
            file.seek(form.offset)
            found = parse_format(file.read(min(form.present, 256)), layout.order, path.name)
            metadata = metadata_of(file, chunks, layout.order)
        coding, step, doubts = settle_coding(path, found, sound, layout.order)
        frame_bytes = coding.n_bytes * found.n_channels
        n_samples, over = divmod(sound.present, frame_bytes)
        notices = [*chunks.notices, *_riff_size(head, size, chunks), *doubts, *_partial(over, frame_bytes)]
        _refuse_empty(path, n_samples, sound)
        depth = f"{found.bits}-bit {'float' if found.tag == FLOAT else 'PCM'}"
        rate_hz, overruled = audio_answers(answers, float(found.rate_hz))
        return PcmRecording(
            path=path,
            reader=self.name,
            rate_hz=rate_hz,
            n_samples=n_samples,
            channels=tuple(
                Channel(name=str(number + 1), unit="FS", full_scale=1.0, step=step)
                for number in range(found.n_channels)
            ),
            coding=coding,
            offset=sound.offset,
            metadata={"coding": depth, **metadata},
            notices=(*notices, *overruled),
        )


def _needed(chunks: ChunkMap, name: str, path: Path) -> Chunk:
    chunk = chunks.first(name)
    if chunk is None:
        found = ", ".join(repr(chunk.name) for chunk in chunks.chunks[:8]) or "none"
        raise BrokenFileError(
            f"{path.name} has no {name.strip()!r} chunk.",
            why=f"The chunks found are: {found}.",
            hint="Copy the file again, or export it again from the recorder.",
        )
    return chunk


def _refuse_empty(path: Path, n_samples: int, sound: Chunk) -> None:
    if n_samples < 1:
        raise BrokenFileError(
            f"{path.name} holds no samples.",
            why=f"Its data chunk claims {sound.claimed} bytes and {sound.present} are there: not one frame.",
            hint="Record it again, or copy the file again.",
        )


def _riff_size(head: bytes, size: int, chunks: ChunkMap) -> list[Notice]:
    """Say that the size in the file's first header is wrong, unless another notice tells of the same fault."""
    told = {"cut-off", "unfinished-recording", "length-wrapped", "trailing-bytes", "missing-pad"}
    if head[:4] not in {b"RIFF", b"RIFX"} or any(notice.code in told for notice in chunks.notices):
        return []
    claimed = int.from_bytes(head[4:8], "little" if head[:4] == b"RIFF" else "big") + 8
    if claimed in {size, size + size % 2, size - size % 2}:
        return []
    return [
        Notice(
            code="file-size",
            message=f"The header claims a file of {claimed} bytes; it has {size}. It was read chunk by chunk.",
            hint="Check that the record has the length you expect.",
            numbers={"claimed_bytes": claimed, "present_bytes": size},
        )
    ]


def _partial(over: int, frame_bytes: int) -> list[Notice]:
    if not over:
        return []
    return [
        Notice(
            code="partial-frame",
            message=f"The last {over} bytes of the samples make no whole frame of {frame_bytes}; they were left out.",
            hint="Nothing to do, unless the record is shorter than you expect.",
            numbers={"bytes": over, "frame_bytes": frame_bytes},
        )
    ]
