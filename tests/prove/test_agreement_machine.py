"""One sequence of calls, three laws: float reference, CPython, MicroPython.

A state machine draws ticks, modes, gain changes, broken currents and sensors,
supply failures and resets. After every tick the integer law must be within its
roundings of the reference; at the end the whole sequence is replayed on
MicroPython and must agree on every word. Visits to the interesting states are
counted over all examples, because a machine that never gets there proves little.
"""

from array import array
from collections import Counter
from dataclasses import replace

from bench_law import TICK_S, exact_settings
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, precondition, rule
from required import require

from host_sim.law.block import FULL
from host_sim.law.controller import Controller
from host_sim.law.quantise import quantise
from host_sim.law.read_back import read_back
from host_sim.law.reference import FloatController
from host_sim.law.settings import Gains, Output, SupplyCompensation
from host_sim.prove.engines import ENGINES
from host_sim.prove.episodes import Episode, write_episodes

MICROPYTHON = next(e for e in ENGINES if e.name == "MicroPython unix, bytecode")
KP = 2.0
GAINS = (Gains(KP, 3.0, 0.05), Gains(KP, 0.5), Gains(1.0), Gains(0.5, 6.0, 0.01))
# Roundings: 2 LSB, one of each term, filter and ramp words times their gains, and
# the quarter LSB by which the reference's deadband is wider, so that no error can
# lie exactly on its edge.
BOUND_LSB = 2.0 + 4 * 0.5 + KP * 2.0 + 0.05 / 0.03 * 3.0 + 0.25 * (KP + 2.0)
INPUT_KINDS = ("current", "pressure", "supply")
VISITS: Counter[str] = Counter()
LEAST = {
    "automatic": 400,
    "manual": 40,
    "hold": 40,
    "fault": 40,
    "start": 20,
    "saturated": 40,
    "deadband": 40,
    "recovering": 3,
}


def law(gains):
    """Settings with every state within reach."""
    settings = exact_settings(
        gains,
        command={"patience_s": 5 * TICK_S, "ramp_up_per_s": 40.0},
        output=Output(low=-0.6, high=0.7, rise_per_s=30.0, fall_per_s=30.0),
        derivative_filter_s=0.02,
        tracking_s=0.2,
        deadband=0.01,
        deadband_hysteresis=0.002,
        dwell_s=3 * TICK_S,
    )
    return replace(
        settings,
        measurement=replace(settings.measurement, valid=(0.01, 0.99), patience_s=0.04),
        supply=SupplyCompensation(channel=(0.0, 2.0), lost=0.5),
    )


def wider(settings):
    """Move the reference's deadband edge off the integers."""
    pid = replace(settings.pid, deadband=settings.pid.deadband + 0.25 / FULL)
    return replace(settings, pid=pid)


class Agreement(RuleBasedStateMachine):
    """Drives both laws alike and keeps what MicroPython must replay."""

    def __init__(self):
        super().__init__()
        self.board = Controller(quantise(law(GAINS[0])))
        self.reference = FloatController(wider(read_back(self.board.block)))
        self.current, self.pressure, self.supply = 12_000, 12_000, 16_384
        self.episodes, self.states = [], []
        self.was_fault = False
        self.begin()

    def begin(self):
        """Start a stretch of ticks with the present state and parameters."""
        self.start = array("i", self.board.state)
        self.inputs = array("i")

    def end(self):
        """Keep the stretch for MicroPython, and the state it must end in."""
        if self.inputs:
            params = array("i", self.board.block.words)
            self.episodes.append(Episode(params, self.start, self.inputs))
            self.states.append(" ".join(map(str, self.board.state)))

    def tick(self):
        """Run both laws one tick and compare their outputs."""
        counts = self.pressure + 1_250
        mode, demand = self.board.word("MODE"), self.board.word("DEMAND")
        self.inputs.extend((self.current, counts, self.supply, mode, demand))
        self.board.tick(self.current, counts, self.supply)
        self.reference.tick(self.current, counts, self.supply)
        assert self.board.active == self.reference.active
        assert self.board.faults == self.reference.faults
        distance = abs(self.board.output - self.reference.output) * FULL
        assert distance <= BOUND_LSB, distance
        VISITS[self.board.active] += 1
        VISITS["saturated"] += self.board.output in (-0.6, 0.7)
        VISITS["deadband"] += self.board.inside
        VISITS["recovering"] += self.was_fault and self.board.active == "automatic"
        self.was_fault = self.board.active == "fault"

    @rule(ticks=st.integers(1, 30), drift=st.integers(-300, 300))
    def run(self, ticks, drift):
        """Let the pressure drift, held within what the sensor can show."""
        for _ in range(ticks):
            self.pressure = max(1_000, min(25_000, self.pressure + drift))
            self.tick()

    @rule(offset=st.integers(-200, 200), ticks=st.integers(5, 20))
    def settle(self, offset, ticks):
        """Bring the pressure near the set point, where the deadband is."""
        for _ in range(ticks):
            self.pressure += (self.current + offset - self.pressure) // 3
            self.tick()

    @rule(current=st.integers(2_000, 24_000))
    def command(self, current):
        """Ask for another set point."""
        self.current = current

    @rule(mode=st.sampled_from(("automatic", "automatic", "manual", "hold", "safe")))
    def switch(self, mode):
        """Ask for another mode."""
        self.board.mode = self.reference.mode = mode
        self.tick()

    @precondition(lambda self: self.board.active == "manual")
    @rule(demand=st.integers(-15_000, 17_500))
    def demand_output(self, demand):
        """Move the manual output."""
        self.board.demand = self.reference.demand = demand / FULL
        self.tick()

    @rule(
        kind=st.sampled_from(("current", "pressure", "supply")), bad=st.integers(1, 9)
    )
    def break_something(self, kind, bad):
        """Break an input for some ticks, long enough for a fault or not."""
        kept = self.current, self.pressure, self.supply
        if kind == "current":
            self.current = 0
        elif kind == "pressure":
            self.pressure = -1_250
        else:
            self.supply = 4_000
        for _ in range(bad):
            self.tick()
        self.current, self.pressure, self.supply = kept
        for _ in range(12):
            self.tick()

    @rule(gains=st.sampled_from(GAINS))
    def change_gains(self, gains):
        """Load another block while running."""
        self.end()
        self.board.block.words[:] = quantise(law(gains)).words
        self.reference.settings = wider(read_back(self.board.block))
        self.begin()

    @rule()
    def reset(self):
        """Start again from the present measurement."""
        self.end()
        self.board.reset()
        self.reference.reset()
        self.begin()

    def teardown(self):
        """Replay everything on MicroPython."""
        self.end()
        if self.episodes:
            path = self.folder / "calls.bin"
            write_episodes(path, self.episodes)
            lines = MICROPYTHON.run(path, "law")
            assert [line.split(maxsplit=1)[1] for line in lines] == self.states


def test_agreement_of_float_cpython_and_micropython(tmp_path):
    require(MICROPYTHON.missing(), MICROPYTHON.remedy)
    Agreement.folder = tmp_path
    VISITS.clear()
    case = Agreement.TestCase
    case.settings = settings(
        max_examples=40,
        stateful_step_count=30,
        suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
    )
    case("runTest").runTest()
    for state, least in LEAST.items():
        assert VISITS[state] >= least, (state, VISITS)
