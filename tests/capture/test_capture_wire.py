"""Lines over a real socket: ends, silence, slowness, garbage, late answers, and one deadline for a whole question."""

import gc
import threading
import time
from contextlib import closing

import pytest

from wattproof.capture import open_wire
from wattproof.errors import WireError
from wattproof.testing import Peer

DEADLINE_S = 0.25
SLACK_S = 1.0
"""A loaded machine's own delay; what must not happen would take many seconds."""


def wire_to(peer, *, timeout_s=DEADLINE_S, **ends):
    return closing(open_wire(peer.address, name="the peer", timeout_s=timeout_s, **ends))


def took(call):
    """Give the error of a call that must fail, and the seconds it took."""
    began_s = time.monotonic()
    with pytest.raises(WireError) as caught:
        call()
    return caught.value, time.monotonic() - began_s


def wait_for(condition, *, within_s=2.0):
    until_s = time.monotonic() + within_s
    while not condition() and time.monotonic() < until_s:
        time.sleep(0.005)
    return condition()


@pytest.mark.parametrize("end", [b"\n", b"\r\n"])
def test_a_line_ends_with_lf_whatever_stands_before_it(end):
    with Peer({"WHO?": b"BOG MYRTLE,7,1,1.0" + end}) as peer, wire_to(peer) as wire:
        assert [wire.query("WHO?") for _ in range(3)] == ["BOG MYRTLE,7,1,1.0"] * 3


def test_a_missing_line_end_is_told_by_name_and_the_hint_cures_it():
    with Peer({"WHO?": b"BOG MYRTLE"}) as peer:
        with wire_to(peer) as wire:
            error, seconds = took(lambda: wire.query("WHO?"))
        assert DEADLINE_S <= seconds < DEADLINE_S + SLACK_S
        assert "(LF)" in error.why
        assert "10 bytes came" in error.why
        assert 'answer_end = ""' in error.hint
        with wire_to(peer, answer_end="") as wire:
            assert wire.query("WHO?") == "BOG MYRTLE"


def test_other_line_ends_can_be_agreed():
    with Peer({"WHO?": b"BOG MYRTLE\r"}) as peer, wire_to(peer, line_end="\r\n", answer_end="\r") as wire:
        assert wire.query("WHO?") == "BOG MYRTLE"
        assert peer.heard == [b"WHO?\r"]


def test_silence_ends_at_the_deadline():
    with Peer({}) as peer, wire_to(peer) as wire:
        error, seconds = took(lambda: wire.query("WHO?"))
    assert DEADLINE_S <= seconds < DEADLINE_S + SLACK_S
    assert "did not answer" in error.message
    assert "nothing came" in error.why


@pytest.mark.parametrize("ask", ["line", "blocks", "bytes", "quiet"])
def test_a_peer_that_sends_a_byte_now_and_then_does_not_outlive_the_deadline(ask):
    slow = {"GO?": b"#3300" + b"5" * 300 + b"\n"}
    with (
        Peer(slow, chunk_bytes=1, chunk_wait_s=0.06) as peer,
        wire_to(peer, answer_end="" if ask == "quiet" else "\n") as wire,
    ):
        calls = {
            "line": lambda: wire.query("GO?"),
            "quiet": lambda: wire.query("GO?"),
            "blocks": lambda: wire.query_blocks("GO?"),
            "bytes": lambda: wire.query_bytes("GO?", n_bytes=300),
        }
        error, seconds = took(calls[ask])
    assert DEADLINE_S <= seconds < DEADLINE_S + SLACK_S
    assert "bytes came" in error.why


def test_a_slow_peer_within_the_deadline_is_no_fault():
    with Peer({"V?": b"+14.402\n"}, chunk_bytes=2, chunk_wait_s=0.02) as peer, wire_to(peer, timeout_s=1.0) as wire:
        assert wire.query("V?") == "+14.402"


@pytest.mark.parametrize("answer", [b"\n", b"\r\n", b"   \n"])
def test_an_empty_answer_is_no_answer(answer):
    with Peer({"V?": answer}) as peer, wire_to(peer) as wire:
        error, seconds = took(lambda: wire.query("V?"))
    assert seconds < DEADLINE_S
    assert "empty" in error.message


@pytest.mark.parametrize("answer", [b"\x00\xff\x13\x80\n", b"14\x0214\n"])
def test_garbage_is_shown_and_never_read(answer):
    with Peer({"V?": answer}) as peer, wire_to(peer) as wire:
        error, _seconds = took(lambda: wire.query("V?"))
    assert "no text" in error.message
    assert repr(answer) in error.why


def test_a_degree_sign_of_an_old_instrument_is_text():
    with Peer({"T?": b"21.3 \xb0C\n"}) as peer, wire_to(peer) as wire:
        assert wire.query("T?") == "21.3 °C"


def test_the_answer_to_a_question_given_up_is_not_taken_for_the_next_one():
    answers = {"SLOW?": ((DEADLINE_S + 0.1, b"13.80\n"),), "NEXT?": b"99\n"}
    with Peer(answers) as peer, wire_to(peer) as wire:
        took(lambda: wire.query("SLOW?"))
        assert [wire.query("NEXT?") for _ in range(3)] == ["99"] * 3
        assert peer.connections == 2


def test_more_than_was_asked_is_dropped_before_the_next_question():
    with Peer({"ONE?": b"1\n999\n", "TWO?": b"2\n"}) as peer, wire_to(peer) as wire:
        assert wire.query("ONE?") == "1"
        time.sleep(0.05)
        assert wire.query("TWO?") == "2"
        assert wire.unasked == "999"


def test_a_cut_connection_is_told_at_once_and_mended_at_the_next_question():
    with Peer({"BYE?": b"", "V?": b"14.4\n"}) as peer, wire_to(peer, timeout_s=5.0) as wire:
        error, seconds = took(lambda: wire.query("BYE?"))
        assert seconds < 1.0
        assert "cut the connection" in error.message
        assert wire.query("V?") == "14.4"


def test_a_port_where_nothing_listens_is_told_at_the_first_question():
    with Peer({}) as peer:
        address = peer.address
    with closing(open_wire(address, name="the peer", timeout_s=DEADLINE_S)) as wire:
        error, seconds = took(lambda: wire.query("*IDN?"))
    assert seconds < DEADLINE_S
    assert error.why == "nothing listens at that port"
    assert isinstance(error.__cause__, ConnectionRefusedError)


@pytest.mark.parametrize("address", ["nonsense", "TCPIP::1::SOCKET", "ASRL::::INSTR", "PXI0::1::MEMACC"])
def test_what_is_no_address_is_told_with_examples(address):
    error, _seconds = took(lambda: open_wire(address, name="the peer", timeout_s=DEADLINE_S))
    assert address in error.message
    assert "::SOCKET" in error.hint or "pip install" in error.hint


def test_a_visa_library_that_is_not_there_is_told(monkeypatch):
    monkeypatch.setenv("PYVISA_LIBRARY", "@nowhere")
    error, _seconds = took(lambda: open_wire("TCPIP::127.0.0.1::9::SOCKET", name="the peer", timeout_s=DEADLINE_S))
    assert '"@nowhere"' in error.message
    assert "PYVISA_LIBRARY" in error.hint


@pytest.mark.filterwarnings("ignore:unclosed:ResourceWarning")  # the backend leaves its socket to the collector
def test_a_host_that_does_not_exist_is_told():
    error, _seconds = took(lambda: open_wire("TCPIP::no host::5025::SOCKET", name="the peer", timeout_s=DEADLINE_S))
    assert "no host" in error.message
    assert error.hint
    error.__traceback__ = error.__cause__ = error.__context__ = None
    gc.collect()


def test_something_urgent_breaks_a_question_off():
    with Peer({}) as peer, wire_to(peer, timeout_s=5.0) as wire:
        broken = []

        def ask():
            broken.append(took(lambda: wire.query("V?")))

        asking = threading.Thread(target=ask)
        asking.start()
        time.sleep(0.1)
        began_s = time.monotonic()
        wire.write("OFF", urgent=True)
        assert time.monotonic() - began_s < 0.05 + SLACK_S
        asking.join(2.0)
        assert "interrupted" in broken[0][0].message
        assert wait_for(lambda: peer.heard == [b"V?", b"OFF", b"OFF"])  # over both: the old one may be stuck


def test_something_urgent_is_said_on_a_new_connection_when_the_old_one_is_cut():
    with Peer({"BYE?": b""}) as peer, wire_to(peer) as wire:
        took(lambda: wire.query("BYE?"))
        wire.write("OFF", urgent=True)
        assert wait_for(lambda: peer.heard == [b"BYE?", b"OFF"])
        assert peer.connections == 2


def test_something_urgent_is_said_beside_a_question_that_was_given_up():
    with Peer({}) as peer, wire_to(peer) as wire:
        took(lambda: wire.query("V?"))
        wire.write("OFF", urgent=True)
        assert wait_for(lambda: peer.heard == [b"V?", b"OFF", b"OFF"])
        assert peer.connections == 2


def test_a_command_is_not_lost_in_a_connection_cut_meanwhile():
    with Peer({"BYE": b"", "V?": b"14.4\n"}) as peer, wire_to(peer) as wire:
        wire.write("BYE")
        assert wait_for(lambda: peer.heard == [b"BYE"])
        time.sleep(0.02)
        error, _seconds = took(lambda: wire.write("V 14.4"))
        assert "cut the connection" in error.message
        wire.write("V 14.4")
        assert wire.query("V?") == "14.4"
        assert peer.heard == [b"BYE", b"V 14.4", b"V?"]


def test_a_babbler_is_told_and_not_listened_to_for_ever():
    with Peer({"V?": b"1\n" + b"menu " * 400_000}) as peer, wire_to(peer) as wire:
        assert wire.query("V?") == "1"
        error, seconds = took(lambda: [wire.query("V?") for _ in range(9)])
        assert "does not stop talking" in error.message
        assert seconds < DEADLINE_S + SLACK_S


def test_two_threads_may_ask_at_once():
    answers = {f"Q{n}?": f"{n}\n".encode() for n in range(4)}
    with Peer(answers, chunk_bytes=1, chunk_wait_s=0.002) as peer, wire_to(peer, timeout_s=2.0) as wire:
        found = {}

        def ask(number):
            found[number] = [wire.query(f"Q{number}?") for _ in range(5)]

        threads = [threading.Thread(target=ask, args=(number,)) for number in range(4)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join(5.0)
        assert found == {number: [str(number)] * 5 for number in range(4)}


def test_a_wire_let_go_of_stays_so():
    with Peer({"V?": b"1\n"}) as peer:
        wire = open_wire(peer.address, name="the peer", timeout_s=DEADLINE_S)
        wire.close()
        wire.close()
        error, _seconds = took(lambda: wire.query("V?"))
        assert "let go" in error.message
        assert peer.heard == []
