"""Frames: both sides agree, published examples, and garbage is garbage.

COBS examples: REFERENCES 13, from Cheshire and Baker, IEEE/ACM Trans. Netw. 7(2) 1999
(second-hand; the IP header from memory), typed in, exact. The `cobs` package is an
independent implementation. Modbus RTU frames there use another polynomial and are
checked with the CRC's own tests.

Corrupted frames: a CRC of 16 bits lets one wrong message in 65 536 through when the
corruption is arbitrary, none where a burst is of at most 16 bits (REFERENCES 13). The
count over all draws must not exceed what a Poisson law of that mean allows once in a
million.
"""

import os
import random

import pytest
from cobs import cobs
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import poisson

from firmware_model.device.frames import MOST_BYTES, FrameReader, FrameWriter
from host_sim.device import messages

SLOW = os.environ.get("HYPOTHESIS_PROFILE") in ("ci", "deep")
FRAMES = 1_000_000 if SLOW else 20_000
ODDS = 2.0**-16
MESSAGES = st.binary(min_size=1, max_size=MOST_BYTES - 2)
FORMS = st.booleans()
STUFFED = {
    "": "01",
    "00": "0101",
    "0000": "010101",
    "001100": "01021101",
    "11220033": "0311220233",
    "11223344": "0511223344",
    "11000000": "0211010101",
    "DEAD00BEEF": "03DEAD03BEEF",
    "4500002C4C79000040064F37": "024501042C4C79010540064F37",
}


def board_frame(message, text):
    writer = FrameWriter(text)
    writer.message[: len(message)] = message
    return bytes(writer.frame[: writer.write(len(message))])


def read(reader, raw):
    """Give all messages that a reader finds."""
    found = []
    for byte in raw:
        got = reader.take(byte)
        if got:
            found.append(bytes(reader.message[:got]))
    return found


@pytest.mark.parametrize(("message", "stuffed"), STUFFED.items())
def test_frames_stuff_as_published(message, stuffed):
    raw = bytes.fromhex(message)
    assert messages.stuff(raw).hex().upper() == stuffed
    assert messages.unstuff(bytes.fromhex(stuffed)) == raw


@given(message=MESSAGES)
def test_frames_stuff_as_an_independent_library(message):
    assert messages.stuff(message) == cobs.encode(message)


@given(message=MESSAGES, text=FORMS)
def test_frames_of_board_and_computer_are_the_same_bytes(message, text):
    frame = board_frame(message, text)
    assert frame == messages.to_frame(message, text)
    assert read(FrameReader(text), frame) == [message]
    assert messages.FrameSplitter(text).take(frame) == [message]
    if text:
        assert all(32 < byte < 127 for byte in frame[:-1])


@given(garbage=st.binary(max_size=400), message=MESSAGES, text=FORMS)
def test_frames_are_found_after_any_garbage(garbage, message, text):
    reader, end = FrameReader(text), b"\n" if text else b"\0"
    found = read(reader, garbage + end + board_frame(message, text))
    assert found[-1] == message


def corrupted(source, frame):
    """Change a frame: bits, bytes, a piece gone, doubled, or from elsewhere."""
    raw = bytearray(frame[:-1])
    kind = source.randrange(5)
    if kind == 0:
        for _ in range(source.randrange(1, 9)):
            raw[source.randrange(len(raw))] ^= 1 << source.randrange(8)
    elif kind == 1:
        raw[source.randrange(len(raw))] = source.randrange(256)
    elif kind == 2:
        at = source.randrange(len(raw))
        del raw[at : at + source.randrange(1, 6)]
    elif kind == 3:
        at = source.randrange(len(raw))
        raw[at:at] = raw[at : at + source.randrange(1, 6)]
    else:
        raw[:] = bytes(source.randrange(256) for _ in range(len(raw)))
    return bytes(raw) + frame[-1:]


@pytest.mark.parametrize("text", [False, True])
def test_frames_wrongly_accepted_are_within_the_odds(text):
    source, reader = random.Random(9), FrameReader(text)
    wrong = tried = 0
    for _ in range(FRAMES // 2):
        message = source.randbytes(source.randrange(3, 24))
        raw = corrupted(source, board_frame(message, text))
        if raw == board_frame(message, text):
            continue
        tried += 1
        wrong += any(found != message for found in read(reader, raw))
        # What came behind a cut must not be taken for the next frame's start.
        read(reader, raw[-1:])
    assert tried > FRAMES // 3
    assert wrong <= poisson.isf(1e-6, tried * ODDS)


def test_frames_counting_sees_a_reader_that_checks_nothing(monkeypatch):
    monkeypatch.setattr("firmware_model.device.frames.crc16", lambda *_: 0x1D0F)
    with pytest.raises(AssertionError):
        test_frames_wrongly_accepted_are_within_the_odds(False)
