"""Each peer of the host benchmarks answers right, and is refused when it does not."""

from dataclasses import replace

import numpy as np
import pytest
from required import require

from bench import host_equations, host_numpy, host_numpy_law
from bench.host_answer import Answer, WrongAnswerError, check_close, check_same
from bench.host_c import NATIVE, SOURCE, CLoop
from bench.host_case import draw_scenarios, load_case, load_chain, with_ticks
from bench.host_numpy import run_numpy
from bench.host_ours import (
    check_marks,
    check_run,
    marks_of,
    record,
    run_lanes,
    run_plain,
    run_whole,
)
from bench.host_solvers import (
    BOUND,
    run_control_solver,
    run_control_steps,
    run_solve_ivp,
)
from host_sim.loop.rig import make_rig
from host_sim.measure.watched import watch_steps
from host_sim.prove.engine import lacking

TICKS = 150  # the first step comes at tick 50
BOUND_PA = 6e5 * BOUND

C_MISTAKES = {
    "converter": ("FULL_COUNTS 32767.0", "FULL_COUNTS 32766.0"),
    "drive": ("FULL_DRIVE 25000.0", "FULL_DRIVE 25001.0"),
    "Runge-Kutta": ("2.0 * volume[HALF_GAIN]", "2.01 * volume[HALF_GAIN]"),
}
NUMPY_MISTAKES = {
    "drive": (host_numpy, "FULL", 25_001),
    "request": (host_numpy_law, "REQUEST_LIMIT", 20_000),
    "spread": (host_numpy_law, "SPREAD", 5_000),
}
GENERAL = {
    "solve_ivp": run_solve_ivp,
    "control, its solver": run_control_solver,
    "control, plant by hand": lambda case, ticks: run_control_steps(case, ticks, 4),
}


@pytest.fixture(scope="module")
def rig():
    return make_rig(with_ticks(load_case(), TICKS))


@pytest.fixture(scope="module")
def right(rig):
    return record(rig, TICKS)[1]


def c_loop(text, *options):
    require(lacking(("gcc",), ()), "a C compiler named gcc")
    return CLoop(text, *options)


@pytest.mark.parametrize("options", [(), (NATIVE,)])
def test_peer_in_c_is_the_compiled_loop_to_the_bit(rig, right, options):
    loop = c_loop(SOURCE.read_text(), *options)
    check_same("C", loop.run(rig, TICKS)[1], right)


@pytest.mark.parametrize("mistake", C_MISTAKES)
def test_peer_in_c_is_refused_with_a_wrong_constant(rig, right, mistake):
    good, wrong = C_MISTAKES[mistake]
    text = SOURCE.read_text()
    assert good in text
    loop = c_loop(text.replace(good, wrong))
    with pytest.raises(WrongAnswerError, match="C: "):
        check_same("C", loop.run(rig, TICKS)[1], right)


@pytest.fixture(scope="module")
def drawn():
    """Loops of numpy's peer, and what the compiled loop makes of each."""
    rigs = [make_rig(scenario) for scenario in draw_scenarios(load_case(), 5, 1)]
    answers = [record(rig, TICKS)[1] for rig in rigs]
    together = (
        np.stack([getattr(answer, name) for answer in answers], axis=-1)
        for name in ("load_pa", "drive", "words")
    )
    return rigs, Answer(*together)


def test_peer_in_numpy_is_the_compiled_loops_to_the_bit(drawn):
    rigs, expected = drawn
    check_same("numpy", run_numpy(rigs, TICKS)[1], expected)


@pytest.mark.parametrize("mistake", NUMPY_MISTAKES)
def test_peer_in_numpy_is_refused_with_a_wrong_constant(drawn, monkeypatch, mistake):
    rigs, expected = drawn
    monkeypatch.setattr(*NUMPY_MISTAKES[mistake])
    with pytest.raises(WrongAnswerError, match="numpy: "):
        check_same("numpy", run_numpy(rigs, TICKS)[1], expected)


def test_peer_in_numpy_refuses_a_law_that_it_does_not_have():
    case = load_case()
    law = replace(case.law, supply=replace(case.law.supply, strength=1.0))
    with pytest.raises(ValueError, match="STRENGTH"):
        run_numpy([make_rig(replace(case, law=law))], TICKS)


@pytest.mark.parametrize("name", GENERAL)
def test_peer_on_a_library_is_close(right, name):
    found = GENERAL[name](with_ticks(load_case(), TICKS), TICKS)[1]
    check_close(name, found, right, BOUND_PA)
    assert found.words.shape == right.words.shape
    assert np.abs(found.drive - right.drive).max() < 0.01


@pytest.mark.parametrize("name", GENERAL)
def test_peer_on_a_library_is_refused_with_a_wrong_plant(right, monkeypatch, name):
    monkeypatch.setattr(host_equations, "FULL", 25_100)
    found = GENERAL[name](with_ticks(load_case(), TICKS), TICKS)[1]
    with pytest.raises(WrongAnswerError, match="load pressure up to"):
        check_close(name, found, right, BOUND_PA)


def test_peer_equations_are_of_arrangement_a_alone():
    with pytest.raises(TypeError, match="arrangement A"):
        run_solve_ivp(load_chain(), 1)


def test_close_refuses_nan(right):
    spoiled = replace(right, load_pa=np.full(TICKS, np.nan))
    with pytest.raises(WrongAnswerError, match="nan"):
        check_close("peer", spoiled, right, BOUND_PA)


def test_same_refuses_another_word(right):
    words = right.words.copy()
    words[-1] += 1
    with pytest.raises(WrongAnswerError, match="words differs"):
        check_same("peer", replace(right, words=words), right)


@pytest.mark.parametrize("load", [load_case, load_chain])
def test_lanes_give_the_marks_of_each_record(load):
    scenarios = draw_scenarios(load(), 3, 2)
    loops = [watch_steps(scenario, make_rig(scenario)) for scenario in scenarios]
    expected = [
        marks_of(loop.windows, record(loop.rig, loop.rig.ticks)[1]) for loop in loops
    ]
    _, marks = run_lanes(loops, 1)
    check_marks("lanes", marks, expected)
    expected[1][0, 1] = np.nextafter(expected[1][0, 1], np.inf)
    with pytest.raises(WrongAnswerError, match="marks of loop 1 differ"):
        check_marks("lanes", marks, expected)


def test_plain_and_whole_runs_agree_and_a_changed_column_is_refused():
    case = with_ticks(load_case(), TICKS)
    (_, plain), (_, whole) = run_plain(case), run_whole(case)
    check_run("plain", plain, whole)
    plain.columns["supply_pa"][-1] += 1.0
    with pytest.raises(WrongAnswerError, match="supply_pa differs"):
        check_run("plain", plain, whole)


def test_drawn_loops_differ_and_share_their_code():
    rigs = [make_rig(scenario) for scenario in draw_scenarios(load_case(), 8, 3)]
    assert len({rig.body["params"].tobytes() for rig in rigs}) == 8
    assert len({rig.block.tobytes() for rig in rigs}) == 8
    assert {rig.substeps for rig in rigs} == {4}
    assert len({rig.shape for rig in rigs}) == 1


def test_with_ticks_repeats_the_command():
    case = load_case()
    longer = make_rig(with_ticks(case, 2_500)).commands
    period = make_rig(case).commands
    assert longer.tolist() == [*period, *period, *period[:500]]
