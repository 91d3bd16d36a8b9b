"""The link: each kind of bad frame has its result, and no garbage moves a device."""

import random
import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_model.device import protocol
from host_sim.device.line import LineLostError
from host_sim.device.line_in_process import InProcessLine
from host_sim.device.link import DeviceLink
from host_sim.errors import InputError

TICK_US = 10_000
COUNTS = (15_728, 12_000, 16_384)


class BadLine(InProcessLine):
    """A line that loses, repeats, spoils and holds back what it carries."""

    remedy = "mend the line"

    def __init__(self, text=False):
        super().__init__(TICK_US, text)
        self.out = self.back = lambda raw: [raw]

    def send(self, raw):
        for piece in self.out(raw):
            super().send(piece)

    def receive(self, wait_s):
        came = super().receive(wait_s)
        if not came:
            time.sleep(min(wait_s, 0.002))
        return b"".join(self.back(came)) if came else b""


def once(action):
    """Do something to the first frame alone."""
    done = []

    def act(raw):
        if done:
            return [raw]
        done.append(raw)
        return action(raw)

    return act


@pytest.fixture(params=[False, True], ids=["bytes", "text"])
def line(request):
    return BadLine(request.param)


@pytest.fixture
def link(line):
    with DeviceLink(line, deadline_s=1.0, again_s=0.02) as opened:
        yield opened


def ticks(link):
    return link.read_state()["TICKS"]


BAD = {
    "lost request": ("out", lambda raw: []),
    "lost answer": ("back", lambda raw: []),
    "repeated request": ("out", lambda raw: [raw, raw]),
    "repeated answer": ("back", lambda raw: [raw, raw]),
    "corrupt request": ("out", lambda raw: [raw[:-2] + bytes((raw[-2] ^ 3, raw[-1]))]),
    "corrupt answer": ("back", lambda raw: [raw[:-2] + bytes((raw[-2] ^ 3, raw[-1]))]),
    "garbage before": ("out", lambda raw: [b"\x55!~~\n\0\0" + raw]),
    "half a frame before": ("out", lambda raw: [raw[: len(raw) // 2] + raw[-1:], raw]),
}


@pytest.mark.parametrize("kind", BAD)
def test_link_does_each_tick_once_whatever_happens_to_a_frame(link, line, kind):
    way, action = BAD[kind]
    expected = DeviceLink(InProcessLine(TICK_US))
    with expected:
        for _ in range(70):
            assert link.exchange(*COUNTS) == expected.exchange(*COUNTS)
        before = ticks(link)
        setattr(line, way, once(action))
        assert link.exchange(*COUNTS) == expected.exchange(*COUNTS)
        assert link.exchange(*COUNTS) == expected.exchange(*COUNTS)
        assert ticks(link) == before + 2


def test_link_drops_and_counts_a_reordered_request(link, line):
    link.exchange(*COUNTS)
    held = []
    line.out = lambda raw: held.append(raw) or [raw]
    link.exchange(*COUNTS)
    link.exchange(*COUNTS)
    line.out = lambda raw: [raw]
    before, dropped = ticks(link), line.link.dropped
    line.send(held[0])
    assert line.receive(0.0) == b""
    assert line.link.dropped == dropped + 1
    assert ticks(link) == before


def test_link_gives_up_at_its_one_deadline(link, line):
    line.out = lambda raw: []
    began_s = time.monotonic()
    with pytest.raises(InputError, match="silent device") as refusal:
        link.exchange(*COUNTS)
    assert 0.9 < time.monotonic() - began_s < 2.0
    assert "\n" not in str(refusal.value)
    assert "mend the line" in str(refusal.value)


def test_link_says_that_the_line_was_lost(link, line):
    def cut(raw):
        raise LineLostError("bad: the line is lost; plug it in")

    line.out = cut
    with pytest.raises(LineLostError):
        link.exchange(*COUNTS)


@given(seed=st.integers(0, 2**32))
def test_link_garbage_moves_nothing(seed):
    source = random.Random(seed)
    line = BadLine(bool(seed & 1))
    with DeviceLink(line) as link:
        for _ in range(3):
            link.exchange(*COUNTS)
        device = line.link.device
        state, params = list(device.state), list(device.params)
        for _ in range(30):
            line.send(source.randbytes(source.randrange(1, 40)) + b"\n\0")
        assert (list(device.state), list(device.params)) == (state, params)
        assert link.exchange(*COUNTS)


def test_link_refuses_illegal_words_whole(link):
    before = link.read_block().words
    for edits in ([("P_SHIFT", 30)], [("DWELL", 5), ("OUTPUT_LOW", 26_000)]):
        with pytest.raises(InputError, match="out of range"):
            link.change(edits)
    assert link.read_block().words == before
    link.change([("DWELL", 5)])
    assert link.read_block()["DWELL"] == 5


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("FIRMWARE", (9, 9, 9), "firmware version 0.1.0.*9.9.9"),
        ("LAYOUT", (77, 0, 0, 0), "layout version .*77"),
    ],
)
def test_link_refuses_another_firmware_or_layout(monkeypatch, name, value, said):
    place = "host_sim.device.link.LAYOUT" if name == "LAYOUT" else None
    if place:
        monkeypatch.setattr(place, value)
    else:
        line = BadLine()
        monkeypatch.setattr("host_sim.device.link.protocol", _other_protocol(value))
    with pytest.raises(InputError, match=said) as refusal:
        DeviceLink(BadLine() if place else line).__enter__()
    assert "device install" in str(refusal.value)
    assert "\n" not in str(refusal.value)


def _other_protocol(firmware):
    from types import SimpleNamespace

    return SimpleNamespace(**{**vars(protocol), "FIRMWARE": firmware})
