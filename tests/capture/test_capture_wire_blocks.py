"""Binary blocks over a real socket: every form of header, line ends inside, late and missing, and broken ones."""

import struct
import time
from contextlib import closing

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wattproof.capture import open_wire, write_block
from wattproof.capture.block import read_blocks
from wattproof.errors import WireError
from wattproof.testing import Peer

DEADLINE_S = 0.3
ALL_BYTES = bytes(range(256))


def asked(answer, *, n_blocks=1, timeout_s=DEADLINE_S, **peer):
    """Ask a peer for blocks, then for a line: whatever the block left behind must not be in it."""
    with (
        Peer({"CURVE?": answer, "NEXT?": b"next\n"}, **peer) as other,
        closing(open_wire(other.address, name="the peer", timeout_s=timeout_s)) as wire,
    ):
        blocks = wire.query_blocks("CURVE?", n_blocks=n_blocks)
        assert wire.query("NEXT?") == "next"
        assert other.connections == 1
        return blocks


FORMS = {
    "a terminator among its bytes": (b"#3256" + ALL_BYTES + b"\n", ALL_BYTES),
    "only terminators": (b"#15\n\n\n\n\n\n", b"\n" * 5),
    "CR LF behind it": (b"#15hello\r\n", b"hello"),
    "no terminator": (b"#15hello", b"hello"),
    "leading zeros": (b"#800000005hello\n", b"hello"),
    "ten digits": (b"#A0000000004abcd\n", b"abcd"),
    "fifteen digits": (b"#F000000000000004abcd\n", b"abcd"),
    "a count in parentheses": (b"#(4)abcd\n", b"abcd"),
    "no count, to the quiet line end": (b"#0" + b"0123456\n89abcdef" + b"\n", b"0123456\n89abcdef"),
    "no count and nothing": (b"#0\n", b""),
    "empty": (b"#10\n", b""),
    "empty, eight digits": (b"#800000000\n", b""),
    "text before it": (b":CURV 1,2.5,BYTE," + b"x" * 156 + b"#14abcd\n", b"abcd"),
    "a # inside quotation marks": (b"LABEL \"CH #1 #15\",'#2'#14abcd\n", b"abcd"),
    "another kind of quotation mark inside": (b'LABEL "it\'s #1"#14abcd\n', b"abcd"),
}


@pytest.mark.parametrize("form", FORMS)
def test_every_form_of_block_is_read(form):
    answer, payload = FORMS[form]
    assert asked(answer) == (payload,)


@pytest.mark.parametrize("form", FORMS)
def test_every_form_of_block_is_read_in_any_pieces(form):
    answer, payload = FORMS[form]
    size = max(1, len(answer) // 7)
    assert asked(answer, chunk_bytes=size, chunk_wait_s=0.003, timeout_s=2.0) == (payload,)


@pytest.mark.parametrize("late_s", [0.05, 0.2])
def test_a_late_line_end_is_not_the_next_answer(late_s):
    assert asked(((0.0, b"#15hello"), (late_s, b"\n")), timeout_s=1.0) == (b"hello",)


def test_a_line_end_that_comes_only_with_the_next_answer_is_dropped():
    with (
        Peer({"CURVE?": b"#15hello", "NEXT?": b"\nnext\n"}) as peer,
        closing(open_wire(peer.address, name="the peer", timeout_s=DEADLINE_S)) as wire,
    ):
        assert wire.query_blocks("CURVE?") == (b"hello",)
        assert wire.query("NEXT?") == "next"


@pytest.mark.parametrize("gap", [b",", b", ", b" , "])
def test_two_blocks_in_one_answer(gap):
    one, two = (write_block(struct.pack("<f", value)) for value in (1.0, 2.0))
    blocks = asked(one + gap + two + b"\n", n_blocks=2)
    assert [struct.unpack("<f", block)[0] for block in blocks] == [1.0, 2.0]


def test_a_second_block_that_is_late_is_waited_for():
    assert asked(((0.0, b"#11a"), (0.2, b",#11b\n")), n_blocks=2, timeout_s=1.0) == (b"a", b"b")


def test_bare_bytes_end_at_their_count():
    with (
        Peer({"RAW?": ALL_BYTES + b"\n", "NEXT?": b"next\n"}) as peer,
        closing(open_wire(peer.address, name="the peer", timeout_s=DEADLINE_S)) as wire,
    ):
        assert wire.query_bytes("RAW?", n_bytes=256) == ALL_BYTES
        assert wire.query("NEXT?") == "next"


BROKEN = {
    "no block": (b"ERROR 7\n", 1, "no # that begins"),
    "a # in quotation marks only": (b'"#15hello"\n', 1, "no # that begins"),
    "a count that is none": (b"#3A56hello\n", 1, "which is no number"),
    "a count with a sign": (b"#2-5hello\n", 1, "which is no number"),
    "an unknown form": (b"#H1F\n", 1, "begins no form"),
    "a count without end": (b"#(" + b"9" * 40 + b")\n", 1, "does not end"),
    "an impossible count": (b"#9999999999x\n", 1, "bytes came"),
    "far too many": (b"#F999999999999999x\n", 1, "it promises"),
    "fewer bytes than promised": (b"#3256" + bytes(100), 1, "105 bytes came"),
    "more bytes than promised": (b"#14hello\n", 1, "not promised"),
    "one block where two belong": (b"#11a\n", 2, "after block 1"),
    "a comma and no block": (b"#11a,x\n", 2, "where # belongs"),
    "two blocks where one belongs": (b"#11a,#11b\n", 1, "not promised"),
    "no count and no end": (b"#0abcdef", 1, "bytes came"),
    "nothing": (((0.0, b""),), 1, "nothing came"),
}


@pytest.mark.parametrize("how", BROKEN)
def test_a_broken_block_is_told_within_the_deadline(how):
    answer, n_blocks, why = BROKEN[how]
    with (
        Peer({"CURVE?": answer, "NEXT?": b"next\n"}) as peer,
        closing(open_wire(peer.address, name="the peer", timeout_s=DEADLINE_S)) as wire,
    ):
        began_s = time.monotonic()
        with pytest.raises(WireError) as caught:
            wire.query_blocks("CURVE?", n_blocks=n_blocks)
        assert time.monotonic() - began_s < DEADLINE_S + 1.0
        assert why in caught.value.why
        assert caught.value.hint
        assert wire.query("NEXT?") == "next"  # the wire is in step again


def test_a_large_block_comes_whole():
    payload = np.random.default_rng(7).integers(0, 256, 2_000_000, dtype=np.uint8).tobytes()
    assert asked(write_block(payload) + b"\n", timeout_s=5.0) == (payload,)


def test_the_writer_counts_bytes_and_not_numbers():
    values = np.arange(50, dtype=np.uint16)
    assert write_block(values.tobytes()).startswith(b"#3100")
    assert write_block(values.tobytes(), n_digits=8).startswith(b"#800000100")
    assert write_block(b"") == b"#10"
    with pytest.raises(ValueError, match="more than 2 digits"):
        write_block(bytes(100), n_digits=2)


class Bytes:
    """All bytes at hand: a source that is never late."""

    def __init__(self, data):
        self.data = data

    def exactly(self, n_bytes):
        taken, self.data = self.data[:n_bytes], self.data[n_bytes:]
        if len(taken) < n_bytes:
            raise WireError("no more")
        return taken

    def coming(self, *, within_s):
        return self.data[:1]


@settings(max_examples=50, deadline=None)
@given(payloads=st.lists(st.binary(max_size=300), min_size=1, max_size=3), digits=st.sampled_from([None, 4, 9]))
def test_what_is_written_is_read(payloads, digits):
    answer = b",".join(write_block(payload, n_digits=digits) for payload in payloads) + b"\n"
    found, ended = read_blocks(Bytes(answer), n_blocks=len(payloads), where="x", asked="y")
    assert list(found) == payloads
    assert ended


@settings(max_examples=50, deadline=None)
@given(answer=st.binary(max_size=60).map(lambda tail: b"#" + tail) | st.binary(max_size=60))
def test_any_bytes_are_a_block_or_an_error_of_ours(answer):
    try:
        payloads, _ended = read_blocks(Bytes(answer), n_blocks=1, where="x", asked="y")
    except WireError:
        return
    assert payloads[0] in answer
