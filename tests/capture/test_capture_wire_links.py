"""Other links than sockets: those that carry whole messages, and serial lines through a pseudo terminal."""

import os
import threading
import time
from contextlib import closing

import pytest

from wattproof.capture import LinkWire, open_wire
from wattproof.capture.link import SerialLine
from wattproof.errors import WireError


class MessageLink:
    """As USB and some network instruments are: an answer is one message, with or without a line end."""

    is_stream = can_be_doubled = False

    def __init__(self, answers):
        self._answers, self._waiting = answers, b""
        self.sent, self.reads_after_the_end, self.recovered, self.closed = [], 0, 0, False

    def send(self, data):
        self.sent.append(data)
        self._waiting = self._answers.get(data, b"")

    def receive(self, n_bytes, *, end, within_s):
        if not self._waiting:
            self.reads_after_the_end += 1
            time.sleep(within_s)
        taken, self._waiting = self._waiting[:n_bytes], self._waiting[n_bytes:]
        return taken

    def recover(self):
        self.recovered += 1
        return True

    def close(self):
        self.closed = True


def message_wire(answers):
    link = MessageLink(answers)
    return link, LinkWire(lambda _within_s: link, where="the messenger", timeout_s=0.1)


@pytest.mark.parametrize("end", [b"", b"\n", b"\r\n"])
def test_the_end_of_a_message_ends_a_line(end):
    link, wire = message_wire({b"V?\n": b"14.4" + end})
    assert wire.query("V?") == "14.4"
    assert link.reads_after_the_end == 0


@pytest.mark.parametrize("end", [b"", b"\n"])
def test_nothing_is_read_after_the_end_of_a_message(end):
    """An instrument that is read when it has nothing to say takes that for a fault of ours and notes it."""
    link, wire = message_wire({b"D?\n": b"#15hello" + end, b"E?\n": b"#0hello\n", b"F?\n": b"hello" + end})
    assert wire.query_blocks("D?") == (b"hello",)
    assert wire.query_blocks("E?") == (b"hello",)
    assert wire.query_bytes("F?", n_bytes=5) == b"hello"
    assert wire.query_blocks("D?") == (b"hello",)
    assert link.reads_after_the_end == 0


def test_a_silent_messenger_is_cleared_before_the_next_question():
    link, wire = message_wire({b"V?\n": b"1\n"})
    with pytest.raises(WireError, match="did not answer"):
        wire.query("W?")
    assert (link.reads_after_the_end, link.recovered) == (1, 0)
    assert wire.query("V?") == "1"
    assert link.recovered == 1
    wire.close()
    assert link.closed


def test_something_urgent_is_not_said_beside_where_a_second_link_may_harm():
    link, wire = message_wire({})
    with pytest.raises(WireError):
        wire.query("V?")
    wire.write("OFF", urgent=True)
    assert link.sent == [b"V?\n", b"OFF\n"]


class SerialPeer:
    """The far end of a pseudo terminal that answers lines."""

    def __init__(self, answers):
        import tty

        self._ours, self._theirs = os.openpty()
        tty.setraw(self._ours)
        tty.setraw(self._theirs)
        self.address = f"ASRL{os.ttyname(self._theirs)}::INSTR"
        self._answers, self._closing = answers, False
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def _serve(self):
        waiting = b""
        while not self._closing:
            *lines, waiting = (waiting + os.read(self._ours, 100)).split(b"\n")
            for line in lines:
                for wait_s, piece in self._answers.get(line, ()):
                    time.sleep(wait_s)
                    os.write(self._ours, piece)

    def close(self):
        self._closing = True
        os.write(self._theirs, b"\n")
        self._thread.join(2.0)
        os.close(self._ours)
        os.close(self._theirs)


@pytest.fixture
def serial_wire():
    pytest.importorskip("serial", reason="serial lines need the package pyserial")
    answers = {
        b"V?": ((0.0, b"14"), (0.02, b".4\r\n")),
        b"D?": ((0.0, b"#13"), (0.02, b"\n\r\n"), (0.02, b"\n")),
        b"SLOW?": ((0.4, b"late\n"),),
    }
    with closing(SerialPeer(answers)) as peer:
        line = SerialLine(baud_rate=19200, data_bits=8, parity="none", stop_bits=1)
        with closing(open_wire(peer.address, name="the serial peer", timeout_s=0.3, serial=line)) as wire:
            yield wire


def test_a_serial_line_is_read_byte_by_byte_and_loses_none(serial_wire):
    assert [serial_wire.query("V?") for _ in range(3)] == ["14.4"] * 3
    assert serial_wire.query_blocks("D?") == (b"\n\r\n",)
    assert serial_wire.query("V?") == "14.4"


def test_a_late_answer_on_a_serial_line_is_dropped(serial_wire):
    with pytest.raises(WireError, match="did not answer"):
        serial_wire.query("SLOW?")
    time.sleep(0.2)
    assert serial_wire.query("V?") == "14.4"
