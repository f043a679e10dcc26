"""The loop of a stream that has no sound card under it: a simulated bench turns block by block, a thread of its own."""

import time
from collections.abc import Callable
from threading import Thread

import numpy as np

from wattproof.capture.contract import Block, Samples
from wattproof.capture.pump import Pump
from wattproof.capture.take import STALL_S, QueueTake

PATIENCE_S = 2.0
"""A free-running stream waits this long for the conductor, seconds on the wall; then it goes on without."""


def run_stream(
    pump: Pump,
    take: QueueTake,
    turn_bench: Callable[[Samples], Samples],
    *,
    block_samples: int,
    n_tracks: int,
    paced: bool = False,
    delay_samples: int = 0,
    patience_s: float = PATIENCE_S,
) -> None:
    """Play a drive into a bench until the play is over; to be the work of a thread.

    Free running, each block waits until the conductor has taken the one before and asks again: what happens is the
    same on every machine. A conductor that does not ask for `patience_s` is taken to be frozen; from then on stream
    time goes on by the clock on the wall, as it does with hardware, until it asks again.

    Parameters
    ----------
    pump : Pump
        What makes the drive and looks at what was recorded.
    take : QueueTake
        Where the recorded blocks go.
    turn_bench : callable
        Takes volts of shape (n_samples, n_outputs), gives the tracks recorded meanwhile, shape (n_samples, n_tracks);
        an exception of it fails the take.
    block_samples : int >= 1
        Samples in a block.
    n_tracks : int
        Recorded tracks.
    paced : bool
        Whether every block takes its time on the wall.
    delay_samples : int >= 0
        The bench records the drive's first sample so much later than it was given; what comes before it is left out.
    patience_s : float, s
        For a conductor that does not ask.
    """
    recorded = np.empty((0, n_tracks))
    block_s = block_samples / pump.rate_hz
    start = -delay_samples
    due_s = time.monotonic()
    frozen = False
    try:
        while not pump.done:
            recorded = turn_bench(pump.turn(recorded, n_samples=block_samples))
            if start + block_samples > 0:
                take.put(Block(samples=recorded[max(0, -start) :], start=max(0, start)))
            start += block_samples
            if paced:
                due_s += block_s
                time.sleep(max(0.0, due_s - time.monotonic()))
            else:
                frozen = not take.wait_until_asked(block_s if frozen else patience_s)
        take.end()
    except Exception as error:  # noqa: BLE001 - handed to the take, which raises it in the conductor's thread
        take.fail(error)


def start_stream(
    pump: Pump,
    turn_bench: Callable[[Samples], Samples],
    *,
    block_samples: int,
    n_tracks: int,
    paced: bool = False,
    delay_samples: int = 0,
    patience_s: float = PATIENCE_S,
    on_trip: Callable[[], None] = lambda: None,
    stall_s: float = STALL_S,
) -> QueueTake:
    """Begin `run_stream` in a thread; leaving the take waits until the drive has faded and the thread is over.

    Parameters
    ----------
    pump, turn_bench, block_samples, n_tracks, paced, delay_samples, patience_s
        As for `run_stream`.
    on_trip : callable
        Called when the stream stalls; give the pump the same one for all other trips.
    stall_s : float, s
        A block that takes longer than this is a stall.

    Returns
    -------
    QueueTake
        The play.
    """
    stall_s += 0.0 if paced else patience_s  # waiting for the conductor is no stall
    take = QueueTake(pump, on_trip=on_trip, close=lambda: thread.join(timeout=5.0), stall_s=stall_s)
    thread = Thread(
        target=run_stream,
        args=(pump, take, turn_bench),
        kwargs={
            "block_samples": block_samples,
            "n_tracks": n_tracks,
            "paced": paced,
            "delay_samples": delay_samples,
            "patience_s": patience_s,
        },
        name="wattproof-stream",
        daemon=True,
    )
    thread.start()
    return take
