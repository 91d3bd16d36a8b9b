"""The model rig on the invented press, and seeded defects found by their lines."""

from dataclasses import replace

import pytest

from host_sim.accept.limits import Limits
from host_sim.accept.model_rig import ModelRig, stated_range
from host_sim.accept.plan import plan
from host_sim.accept.rig import FlowingRig, PoweredRig, SuppliedRig
from host_sim.accept.run import run_sequence
from host_sim.accept.sequence_rest import LongRunSequence
from host_sim.accept.sequence_static import StaticSequence
from host_sim.accept.sequence_steps import StepSequence
from host_sim.accept.verdicts import FAIL, MARGINAL, PASS, judge
from host_sim.law.reference import FloatController
from host_sim.loop.loop import Loop
from host_sim.scenario.load import load_scenario, shipped_scenario_path

PRESS = load_scenario(shipped_scenario_path())
ARRANGEMENT = PRESS.plant.arrangement
CHANNEL = PRESS.plant.sensing.pressure
BOOSTER = ARRANGEMENT.booster


def with_booster(**changes):
    arrangement = replace(ARRANGEMENT, booster=replace(BOOSTER, **changes))
    return replace(PRESS, plant=replace(PRESS.plant, arrangement=arrangement))


def with_channel(**changes):
    sensing = replace(PRESS.plant.sensing, pressure=replace(CHANNEL, **changes))
    return replace(PRESS, plant=replace(PRESS.plant, sensing=sensing))


THIRD = replace(
    BOOSTER.exhaust, conductance_m3_s_pa=BOOSTER.exhaust.conductance_m3_s_pa / 3.0
)
RANGE_PA = CHANNEL.high - CHANNEL.low
DEFECTS = {
    "span_error": with_channel(high=CHANNEL.low + 1.02 * RANGE_PA),
    "hunting": with_booster(hysteresis=0.6),
    "zero_error": with_channel(low=CHANNEL.low + 6e3, high=CHANNEL.high + 6e3),
    "rise_time": with_booster(exhaust=THIRD),
}
"""The line that must fail, and the press that a defect makes."""
LIMITS = Limits(
    {"span_error": 0.5, "hunting": 0.3, "zero_error": 0.3, "rise_time": 3.5}
)
SEQUENCES = (
    StaticSequence(points=5, cycles=1),
    StepSequence(steps=((10.0, 90.0), (90.0, 10.0)), watch_s=4.5),
    LongRunSequence(watch_s=4.0),
)


def measured(scenario):
    """Figures that have a limit, each sequence on a fresh rig."""
    span = stated_range(scenario)
    return [
        figure
        for sequence in SEQUENCES
        for figure in run_sequence(sequence, ModelRig(scenario), span).figures
        if figure.name in LIMITS.limits
    ]


def words(figures, limits=LIMITS):
    return {v.figure.name: v.word for v in judge(figures, limits)}


@pytest.fixture(scope="module")
def good():
    return measured(PRESS)


def test_a_good_press_passes_every_line(good):
    assert words(good) == dict.fromkeys(
        ("zero_error", "span_error", "rise_time", "hunting"), PASS
    )


def test_a_press_close_to_its_limits_is_called_marginal(good):
    close = Limits({f.name: 1.05 * abs(f.measured) for f in good})
    assert set(words(good, close).values()) == {MARGINAL}


@pytest.mark.parametrize("line", DEFECTS)
def test_a_seeded_defect_fails_by_its_own_line(line):
    judged = words(measured(DEFECTS[line]))
    assert {name for name, word in judged.items() if word == FAIL} == {line}


def test_the_model_rig_is_the_loop_tick_by_tick():
    rig, loop = ModelRig(PRESS), Loop.of(PRESS)
    for k in range(150):
        current_ma = 4.0 + 0.05 * k
        before_pa = loop.plant.pressures_pa().load
        drive = loop.step(current_ma)
        sample = rig.tick(current_ma)
        assert (sample.pressure_pa, sample.drive) == (before_pa, drive)


def test_the_model_rig_takes_another_law():
    def make_law():
        return FloatController(PRESS.law)

    rig, loop = ModelRig(PRESS, make_law), Loop.of(PRESS, make_law())
    drives = [(rig.tick(12.0).drive, loop.step(12.0)) for _ in range(50)]
    assert all(one == other for one, other in drives)


def test_the_model_rig_has_every_ability_and_leaves_scripts_out():
    supply = replace(ARRANGEMENT.supply, changes=((0.1, 2e5),))
    consumption = replace(ARRANGEMENT.consumption, changes=((0.0, 1e-4), (0.1, 9e-3)))
    arrangement = replace(ARRANGEMENT, supply=supply, consumption=consumption)
    scripted = replace(PRESS, plant=replace(PRESS.plant, arrangement=arrangement))
    quiet = replace(arrangement, supply=ARRANGEMENT.supply)
    quiet = replace(quiet, consumption=replace(consumption, changes=((0.0, 1e-4),)))
    plain = replace(PRESS, plant=replace(PRESS.plant, arrangement=quiet))
    one, other = ModelRig(scripted), ModelRig(plain)
    for ability in (SuppliedRig, FlowingRig, PoweredRig):
        assert isinstance(one, ability)
    for _ in range(60):
        assert one.tick(12.0) == other.tick(12.0)


def test_supply_flow_and_power_of_the_model_rig_act():
    rig = ModelRig(PRESS)
    set_pa = rig.supply_set_pa
    assert set_pa == ARRANGEMENT.supply.pressure_pa
    for _ in range(300):
        before = rig.tick(12.0)
    rig.set_supply(0.7 * set_pa)
    for _ in range(300):
        after = rig.tick(12.0)
    assert after.supply_pa < before.supply_pa - 0.2 * set_pa
    used_kg = after.air_used_kg
    rig.set_flow(2e-3)
    for _ in range(200):
        fed = rig.tick(12.0)
    assert fed.air_used_kg - used_kg > 0.8 * 2e-3 * 2.0
    rig.set_flow(0.0)
    rig.set_power(on=False)
    # One tick of computing delay still carries the last drive.
    rig.tick(12.0)
    for _ in range(50):
        dark = rig.tick(12.0)
    assert dark.drive == 0.0
    assert dark.faults == ()
    rig.set_power(on=True)
    for _ in range(400):
        back = rig.tick(12.0)
    assert back.pressure_pa == pytest.approx(before.pressure_pa, abs=3e3)
    rig.restart()
    assert rig.tick(12.0).drive == pytest.approx(back.drive, abs=0.02)


def test_the_plan_has_every_sequence_once_and_figures_of_one_name_once():
    sequences = plan(PRESS)
    names = [name for sequence in sequences for name in sequence.figures]
    assert len(names) == len(set(names))
    assert len({sequence.name for sequence in sequences}) == len(sequences)
