"""What must hold of tuning, as checks that tests and mistakes patched in share."""

from dataclasses import replace

import numpy as np
import pytest

from host_sim.law.quantise import quantise
from host_sim.law.settings import Gains, ProportionalDrive
from host_sim.loop.compiled import run_compiled
from host_sim.measure.answer import find_steps, measure_run
from host_sim.measure.effort import measure_output
from host_sim.plant.settings import DirectPlant
from host_sim.scenario.load import load_scenario
from host_sim.scenario.profile import Profile
from host_sim.tune import family, front, identified, rest, rewrite, trials
from host_sim.tune.choice import choice_of
from host_sim.tune.models import FIRST, INTEGRATING, SECOND

ROUNDING = 1e-9


def play_of(built):
    return built.valve if isinstance(built, DirectPlant) else built.booster


def check_spreads(scenario, members):
    """Read each machine's own numbers and hold them against the spreads."""
    asked, own = scenario.family, scenario.plant.arrangement

    def within(number, nominal, spread):
        share = number / nominal - 1.0 if nominal else number
        assert abs(share) <= spread + ROUNDING

    for member in members[1:]:
        plant = member.scenario.plant
        built = plant.arrangement
        outside_pa = own.air.atmosphere_pa
        assert built.air.atmosphere_pa == outside_pa
        within(
            built.supply.pressure_pa - outside_pa,
            own.supply.pressure_pa - outside_pa,
            asked.supply,
        )
        for script, nominal in zip(
            built.supply.changes, own.supply.changes, strict=True
        ):
            within(script[1] - outside_pa, nominal[1] - outside_pa, asked.supply)
        within(built.load.volume_m3, own.load.volume_m3, asked.load_volume)
        lag_s = scenario.plant.sensing.pressure.lag_s
        within(plant.sensing.pressure.lag_s, lag_s, asked.sensor_lag)
        within(play_of(built).hysteresis, play_of(own).hysteresis, asked.hysteresis)
        warm_k = built.air.ambient_temperature_k
        assert asked.temperature_low_k <= warm_k + ROUNDING
        assert warm_k <= asked.temperature_high_k + ROUNDING


def check_scores(law, machines):
    """Hold the scores of a law against whole records, machine by machine."""
    scores = trials.try_laws([law], machines).of(0)
    for place, machine in enumerate(machines):
        scenario = replace(machine.member.scenario, law=law)
        done = run_compiled(scenario)
        settling_s, unsettled = settling_of(scenario, done)
        assert scores.settling_s[place] == pytest.approx(settling_s, rel=1e-9)
        assert scores.unsettled[place] == unsettled
        assert scores.overshoot[place] == pytest.approx(
            overshoot_of(scenario, done), abs=1e-9
        )
        assert scores.travel[place] == pytest.approx(
            max(travels(scenario, done)), abs=1e-9
        )
    worst = trials.try_laws([law], machines).worst()
    for name in ("settling_s", "overshoot", "travel", "unsettled"):
        assert getattr(worst, name)[0] == max(getattr(scores, name))


def windows_of(scenario):
    """First tick, last tick and levels of each step."""
    steps, _ = find_steps(scenario, scenario.ticks)
    starts = [round(start_s / scenario.law.tick_s) for start_s, *_ in steps]
    ends = [*starts[1:], scenario.ticks - 1]
    levels = [levels for _, *levels in steps]
    return list(zip(starts, ends, levels, strict=True))


def settling_of(scenario, done):
    """Settling of all steps as `Scores` counts it, from the pressures alone."""
    low_pa, high_pa = scenario.pressure_range_pa
    band_pa, tick_s = scenario.settle_band * (high_pa - low_pa), scenario.law.tick_s
    total_s, unsettled = 0.0, 0
    for first, last, (_, to_pa) in windows_of(scenario):
        away_pa = np.abs(done.columns["load_pa"][first : last + 1] - to_pa)
        ticks = last - first
        (outside,) = np.nonzero(away_pa > band_pa)
        came = outside[-1] if outside.size else None
        entry = 0.0
        if came is not None and came < ticks:
            fall_pa = away_pa[came] - away_pa[came + 1]
            entry = came + (away_pa[came] - band_pa) / fall_pa
        is_settled = (came is None or came < ticks) and entry < 0.9 * ticks
        if is_settled:
            total_s += entry * tick_s
            continue
        tail = done.columns["load_pa"][first : last + 1][-(ticks - tail_from(ticks)) :]
        bands = abs(tail.mean() - to_pa) / band_pa
        total_s += ticks * tick_s * min(max(bands, 1.0), 2.0)
        unsettled += 1
    return total_s, unsettled


def overshoot_of(scenario, done):
    """Worst overshoot of the measured record.

    Where a step has none, because its peak was at its start or is still to come, the
    furthest that was seen counts.
    """
    measured = measure_run(scenario, done).steps
    worst = 0.0
    for step, (first, last, (from_pa, to_pa)) in zip(
        measured, windows_of(scenario), strict=True
    ):
        beyond = (done.columns["load_pa"][first : last + 1] - to_pa) / (to_pa - from_pa)
        percent = step.overshoot_percent
        worst = max(worst, peak_of(beyond) if percent is None else percent / 100.0)
    return worst


def peak_of(levels):
    """Top of the parabola through the highest level and its two neighbours."""
    top = int(np.argmax(levels))
    if not 0 < top < len(levels) - 1:
        return levels[top]
    before, highest, after = levels[top - 1 : top + 2]
    return highest + (after - before) ** 2 / (8.0 * (2.0 * highest - before - after))


def tail_from(ticks):
    """Tick before which the last tenth of a window has not begun."""
    return int(np.ceil(0.9 * ticks)) - 1


def travels(scenario, done):
    """Strokes of the applied drive within each step."""
    drive = done.columns["drive_percent"] / 100.0
    return [
        measure_output(drive[first:last]).travel_strokes
        for first, last, _ in windows_of(scenario)
    ]


def check_round_trip(choice, base):
    """A choice that a law was made of is read off it again."""
    found = choice_of(choice.law(base))
    for name, number in vars(choice).items():
        assert getattr(found, name) == pytest.approx(number, rel=1e-12), name


def check_rewritten(path, law, target):
    """The written scenario gives the very block of the law."""
    target.write_text(rewrite.retuned_text(path, law, target), encoding="utf-8")
    assert quantise(load_scenario(target).law).words == quantise(law).words


def check_front(rows):
    """Those that nothing beats are just those that brute force finds."""
    counts = front._beaten(rows)
    for row, count in zip(rows, counts, strict=True):
        assert count == sum(beats(other, row) for other in rows)


def beats(other, row):
    pairs = [
        (other.settling_s, row.settling_s),
        (other.overshoot, row.overshoot),
        (other.travel, row.travel),
    ]
    return all(a <= b for a, b in pairs) and any(a < b for a, b in pairs)


def check_at_rest(scenario, law, resting):
    """Hold reversals against whole records of the corners, left alone.

    Noise, ripple and dither are taken out here by hand.
    """
    turns = rest.count_reversals([law], resting)[0].tolist()
    step_ticks = max(last - first for first, last, _ in windows_of(scenario))
    records = [
        reversals_alone(corner.scenario, level, law, step_ticks)
        for corner in family.make_corners(scenario)
        for level in (0.25, 0.5, 1.0)
    ]
    assert turns == records


def reversals_alone(scenario, level, law, step_ticks):
    """One length of the longest step to settle in, two to be watched."""
    steps, _ = find_steps(scenario, scenario.ticks)
    levels_pa = [pa for _, *ends in steps for pa in ends]
    low_pa, high_pa = scenario.pressure_range_pa
    aim_pa = min(levels_pa) + level * (max(levels_pa) - min(levels_pa))
    command = law.command
    share = (aim_pa - low_pa) / (high_pa - low_pa)
    current_ma = command.start_ma + share * (command.end_ma - command.start_ma)
    sensing, built = scenario.plant.sensing, scenario.plant.arrangement
    pressure = replace(sensing.pressure, noise=0.0)
    supply = replace(sensing.supply, noise=0.0)
    plant = replace(
        scenario.plant,
        sensing=replace(sensing, pressure=pressure, supply=supply),
        arrangement=replace(built, supply=replace(built.supply, ripple_pa=0.0)),
    )
    alone = replace(
        scenario,
        plant=plant,
        law=replace(law, drive=ProportionalDrive()),
        current_channel=replace(scenario.current_channel, noise=0.0),
        profile=Profile((0.0,), (current_ma,)),
        ticks=3 * step_ticks,
    )
    drive = run_compiled(alone).columns["drive_percent"] / 100.0
    return measure_output(drive[step_ticks:]).reversals


def check_model_margin(scenario, held, gain):
    """Hold the loop on a model against its transfer function, at low frequency.

    Under P alone, sampled a hundred times in a turn or more: dead time, half a tick
    of hold, computing delay, pressure filter, and the model's own lags.
    """
    found = identified.identified(scenario, held)
    law, model = scenario.law, held.model
    pid = replace(law.pid, gains=Gains(gain), derivative_filter_s=0.0)
    low_pa, high_pa = scenario.pressure_range_pa
    rad_s = np.geomspace(0.02, 0.06, 7) / law.tick_s
    s = 1j * rad_s
    shape = {
        FIRST: lambda: 1.0 + model.time_constant_s * s,
        SECOND: lambda: (
            (model.time_constant_s * s) ** 2
            + 2.0 * model.damping * model.time_constant_s * s
            + 1.0
        ),
        INTEGRATING: lambda: s,
    }[model.form]()
    dead_s = model.dead_time_s + (0.5 + scenario.compute_delay_ticks) * law.tick_s
    back = np.exp(-s * law.tick_s)
    filter_s = law.measurement.filter_s
    filtered = law.tick_s / (filter_s + law.tick_s - filter_s * back)
    expected = gain * model.gain / (high_pa - low_pa) / shape
    expected = expected * np.exp(-s * dead_s) * filtered
    loop_gain = found.loop.loop.gain(replace(law, pid=pid))(rad_s)
    assert np.abs(loop_gain / expected - 1.0).max() < 2e-3
