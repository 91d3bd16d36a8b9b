"""Known mistakes that stay within 31 bits: a named test catches each.

Each is patched into the law's text; the old text must stand there exactly once.
The named test is the very function that runs with the rest of the tests, here on
the patched law, with all its parameters.
"""

import importlib
import importlib.util
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import FunctionType

import pytest
from hypothesis import HealthCheck, Phase, settings

from host_sim.prove.proof_source import law_sources

LAW_TESTS = Path(__file__).parent.parent / "law"
PROFILE = "seeded faults"
settings.register_profile(
    PROFILE,
    max_examples=40,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
    phases=(Phase.explicit, Phase.generate),
    derandomize=True,
    database=None,
    report_multiple_bugs=False,
    print_blob=False,
)


@dataclass(frozen=True)
class Fault:
    """One mistake: where, which text becomes which, and what catches it."""

    name: str
    module: str
    old: str
    new: str
    caught_by: str

    def sources(self):
        """Return the law's text with the mistake in it."""
        sources = law_sources()
        assert sources[self.module].count(self.old) == 1, self.name
        sources[self.module] = sources[self.module].replace(self.old, self.new)
        return sources


FAULTS = (
    Fault(
        "half a unit too much in every rounding",
        "arith",
        "    half = 1 << (shift - 1)\n    if value < 0:\n        return",
        "    half = 1 << shift\n    if value < 0:\n        return",
        "test_against_float.py::"
        "test_against_float_without_filters_within_two_lsb_and_term_roundings",
    ),
    Fault(
        "gain rounded down for both signs",
        "arith",
        "        return -((half - value * gain) >> shift)\n",
        "        return (value * gain + half) >> shift\n",
        "test_pid_facts.py::test_mirrored_loop_is_mirrored_to_the_bit",
    ),
    Fault(
        "floor shift without a rest drains the integral",
        "arith",
        "    state[slot] = (value & (half + half - 1)) - half\n",
        "    state[slot] = 0\n",
        "test_pid_facts.py::test_smallest_error_integrates_at_its_exact_rate",
    ),
    Fault(
        "rest masked with half its bits",
        "arith",
        "    state[slot] = (value & (half + half - 1)) - half\n",
        "    state[slot] = (value & (half - 1)) - half\n",
        "test_pid_facts.py::test_smallest_error_integrates_at_its_exact_rate",
    ),
    Fault(
        "rest of an older, larger shift is kept",
        "arith",
        "    if -half <= int(state[slot]) <= half:\n        value +=",
        "    if 1:\n        value +=",
        "test_arith_caught.py::test_carry_drops_a_rest_of_an_older_larger_shift",
    ),
    Fault(
        "rate loses its rest",
        "arith",
        "    state[slot] = total & 16_383\n",
        "    state[slot] = 0\n",
        "test_command.py::test_command_ramp_moves_at_its_exact_rate",
    ),
    Fault(
        "suspicion never clears its fault",
        "arith",
        "        if count == 0:",
        "        if count < 0:",
        "test_command.py::test_command_fault_ends_after_as_many_good_ticks_without_a_bump",
    ),
    Fault(
        "a good reading forgives all suspicion",
        "arith",
        "            count -= 1\n",
        "            count = 0\n",
        "test_command.py::test_command_fault_ends_after_as_many_good_ticks_without_a_bump",
    ),
    Fault(
        "cut-off without its release",
        "command",
        "        edge += int(params[_CUTOFF_HYSTERESIS])\n",
        "        edge += 0\n",
        "test_command.py::test_command_cutoff_vents_fully_and_releases_above_its_hysteresis",
    ),
    Fault(
        "a bad current moves the target",
        "command",
        "    if not bad:\n        decode",
        "    if 1:\n        decode",
        "test_command.py::test_command_glitch_keeps_the_last_good_set_point",
    ),
    Fault(
        "band limits themselves count as good",
        "arith",
        "value <= low or value >= high",
        "value < low or value > high",
        "test_command.py::test_command_bad_current_is_a_fault_after_its_patience",
    ),
    Fault(
        "compensation corrects what vents too",
        "output",
        "    if request > 0:",
        "    if request:",
        "test_supply.py::test_supply_factor_corrects_what_fills_only",
    ),
    Fault(
        "compensation trusts a failed supply sensor",
        "supply",
        "    if strength and not int(state[_FAULTS]) & _SUPPLY_FAULT:",
        "    if strength:",
        "test_supply.py::test_supply_bad_sensor_makes_the_factor_neutral",
    ),
    Fault(
        "error counts inside the deadband",
        "pid",
        "        error = 0\n    else:\n        state[_INSIDE] = 0\n",
        "    else:\n        state[_INSIDE] = 0\n",
        "test_pid_facts.py::test_inside_deadband_nothing_moves",
    ),
    Fault(
        "integral moves inside the deadband",
        "pid",
        "    elif int(state[_INSIDE]) or int(state[_PRESSURE_TIMER]):\n",
        "    elif int(state[_PRESSURE_TIMER]):\n",
        "test_pid_caught.py::test_inside_deadband_a_limited_output_leaves_the_integral",
    ),
    Fault(
        "deadband taken off at its release",
        "pid",
        "        state[_INSIDE] = 0\n        band = int(params[_DEADBAND])\n",
        "        state[_INSIDE] = 0\n",
        "test_pid_caught.py::test_leaving_the_deadband_takes_off_the_deadband_at_once",
    ),
    Fault(
        "derivative on the error",
        "pid",
        "    state[_ERROR] = error\n",
        "    moved = int(state[_ERROR]) - error\n"
        "    state[_MOVEMENT] = clamp(moved, -_SPREAD, _SPREAD)\n"
        "    state[_ERROR] = error\n",
        "test_pid_facts.py::test_setpoint_step_gives_no_derivative_kick",
    ),
    Fault(
        "derivative never rests",
        "pid",
        "    if int(state[_INSIDE]) < int(params[_DWELL]):\n        washout",
        "    if 1:\n        washout",
        "test_pid_facts.py::test_inside_deadband_nothing_moves",
    ),
    Fault(
        "set-point weight forgotten",
        "pid",
        "scale(setpoint, int(params[_WEIGHT]), 12)",
        "scale(setpoint, 4_096, 12)",
        "test_pid_facts.py::test_setpoint_weight_scales_the_proportional_kick",
    ),
    Fault(
        "sign of the anti-windup turned",
        "pid",
        "params, _TRACK_GAIN, over)",
        "params, _TRACK_GAIN, -over)",
        "test_pid_facts.py::test_back_calculation_settles_at_the_textbook_excess",
    ),
    Fault(
        "integral clamped alone, no back-calculation",
        "pid",
        "        integral += int(excess_share(state, params))\n",
        "",
        "test_pid_facts.py::test_back_calculation_settles_at_the_textbook_excess",
    ),
    Fault(
        "anti-windup against the request, not the output",
        "pid",
        "    over = int(equivalent(state)) - int(state[_REQUEST])\n",
        "    over = 0\n",
        "test_pid_facts.py::test_integral_recovers_on_the_first_inward_sample",
    ),
    Fault(
        "conditional integration inverted",
        "pid",
        "(over < 0 < error) or (error < 0 < over)",
        "(over < 0 and error < 0) or (error > 0 and over > 0)",
        "test_pid_facts.py::test_conditional_integration_never_grows_while_pushing_outward",
    ),
    Fault(
        "integral does not follow outside automatic",
        "pid",
        "    if int(state[_ACTIVE]):\n        integral",
        "    if 0:\n        integral",
        "test_pid_facts.py::test_automatic_takes_over_without_a_bump",
    ),
    Fault(
        "manual demand does not follow the output",
        "output",
        "    if int(state[_ACTIVE]) != _MANUAL:\n        state[_DEMAND] = now\n",
        "",
        "test_pid_facts.py::test_manual_takes_over_without_a_bump",
    ),
    Fault(
        "a fault's output waits for the rate",
        "output",
        "        now = goal\n",
        "        now = now\n",
        "test_command.py::test_command_safe_output_is_taken_at_once",
    ),
    Fault(
        "a failed supply sensor stops the output",
        "output",
        "_STOPPING_FAULTS = const(11)",
        "_STOPPING_FAULTS = const(15)",
        "test_supply.py::test_supply_bad_sensor_makes_the_factor_neutral",
    ),
    Fault(
        "no dead time after the exhaust valve",
        "drive",
        "state[_IDLE] = dead if valve > 0 else -dead",
        "state[_IDLE] = dead if valve > 0 else 0",
        "test_drive.py::test_drive_pair_waits_between_different_valves",
    ),
    Fault(
        "shortest pulse not kept",
        "drive",
        "    if int(state[_PHASE]) >= int(params[_PULSE_TICKS]):",
        "    if 1:",
        "test_drive_caught.py::"
        "test_drive_pair_keeps_its_shortest_pulse_while_the_output_turns",
    ),
    Fault(
        "what a pulse gives is not charged",
        "drive",
        "int(state[_CHARGE]) - valve,",
        "int(state[_CHARGE]),",
        "test_drive.py::test_drive_pair_gives_the_average_exactly",
    ),
    Fault(
        "dither on one side only",
        "drive",
        "        return -int(params[_DITHER])\n",
        "        return 0\n",
        "test_drive.py::test_drive_dither_is_a_square_wave_of_no_average",
    ),
    Fault(
        "reset keeps the washout",
        "tick",
        "        state[slot] = 0\n",
        "        if slot != 26:\n            state[slot] = 0\n",
        "test_pid_caught.py::test_reset_forgets_a_derivative_that_is_under_way",
    ),
    Fault(
        "reset forgets the output",
        "tick",
        "    state[_OUTPUT] = output\n",
        "",
        "test_pid_facts.py::test_reset_gives_no_derivative_spike_and_no_jump",
    ),
    Fault(
        "the first tick starts from the old pressure",
        "sense",
        "    last = int(state[_PRESSURE])\n    if int(state[_FRESH]):",
        "    last = int(state[_PRESSURE])\n    if 0:",
        "test_pid_facts.py::test_reset_gives_no_derivative_spike_and_no_jump",
    ),
)


@contextmanager
def patched_law(fault):
    """Let the law's own functions run the patched text; undo it afterwards."""
    module = importlib.import_module(f"firmware_model.law.{fault.module}")
    patched = {"__name__": module.__name__}
    exec(compile(fault.sources()[fault.module], module.__file__, "exec"), patched)
    codes, constants = {}, {}
    for name, made in patched.items():
        real = vars(module).get(name)
        if isinstance(made, FunctionType) and made.__globals__ is patched:
            codes[real] = real.__code__
            real.__code__ = made.__code__
        elif type(made) is int:
            constants[name] = real
            setattr(module, name, made)
    try:
        yield
    finally:
        for real, code in codes.items():
            real.__code__ = code
        vars(module).update(constants)


def load_check(address):
    """Load a test by ``file::name``; list the calls that make it whole."""
    file_name, name = address.split("::")
    spec = importlib.util.spec_from_file_location(
        f"check_{file_name[:-3]}", LAW_TESTS / file_name
    )
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    check = getattr(module, name)
    calls = [{}]
    for mark in getattr(check, "pytestmark", []):
        names, rows = mark.args
        names = [names] if isinstance(names, str) else names
        rows = [row if len(names) > 1 else (row,) for row in rows]
        calls = [dict(zip(names, row, strict=True)) for row in rows]
    return check, calls


@contextmanager
def quick_hypothesis():
    """Search without shrinking, and the same way each time."""
    before = settings.get_current_profile_name()
    settings.load_profile(PROFILE)
    try:
        yield
    finally:
        settings.load_profile(before)


def run_check(address):
    """Run the ordinary test with all its parameters."""
    with quick_hypothesis():
        check, calls = load_check(address)
        for call in calls:
            check(**call)


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault.name)
def test_seeded_fault_is_caught_by_its_named_test(fault):
    with patched_law(fault), pytest.raises((AssertionError, pytest.fail.Exception)):
        run_check(fault.caught_by)


@pytest.mark.parametrize("address", sorted({f.caught_by for f in FAULTS}))
def test_seeded_fault_check_passes_on_the_law_as_it_is(address):
    run_check(address)


def test_seeded_faults_are_undone():
    for fault in FAULTS:
        module = importlib.import_module(f"firmware_model.law.{fault.module}")
        before = {
            name: made.__code__ if isinstance(made, FunctionType) else made
            for name, made in vars(module).items()
        }
        with patched_law(fault):
            pass
        for name, made in before.items():
            now = vars(module)[name]
            assert getattr(now, "__code__", now) is made or now == made


def test_seeded_faults_are_enough_and_named_once():
    names = {fault.name for fault in FAULTS}
    assert len(names) == len(FAULTS) >= 20
