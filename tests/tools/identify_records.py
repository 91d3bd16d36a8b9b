"""Records of linear plants, exact or as a cheap logger would write them."""

import numpy as np

from host_sim.scenario.units import STANDARD
from host_sim.tune.models import FIRST, SECOND, HeldInput, Model, unit_answer
from host_sim.tune.record import Record, Signal

START_PA = 2e5


def as_record(time_s, drive, pressure_pa, file="step.csv"):
    """Make a record of a drive from arrays."""
    return Record(
        file=file,
        signal=Signal("drive [%]", "ratio"),
        time_s=np.asarray(time_s, dtype=float),
        input=np.asarray(drive, dtype=float),
        pressure_pa=np.asarray(pressure_pa, dtype=float),
        supply_pa=None,
        pressure_name="pressure [bar gauge]",
        pressure_unit="bar gauge",
        basis=STANDARD,
        notes=(),
    )


def answer_pa(model, held, time_s):
    answer = unit_answer(
        model.form, model.shape, held, np.asarray(time_s) - model.dead_time_s
    )
    return START_PA + model.gain * answer


def step_record(
    model,
    *,
    times_s=(2.0,),
    levels=(0.0, 0.5),
    duration_s=12.0,
    interval_s=0.02,
    noise=0.0,
    seed=1,
    later_s=0.0,
):
    """Record a model's answer; steps lie half way between rows.

    ``noise`` is a share of the pressure's travel; with ``later_s`` the input
    column lags behind the input itself.
    """
    time_s = np.arange(0.0, duration_s, interval_s)
    middle_s = (np.round(np.array(times_s) / interval_s) - 0.5) * interval_s
    held = HeldInput(middle_s, np.array(levels))
    pressure_pa = answer_pa(model, held, time_s)
    random = np.random.default_rng(seed)
    size_pa = noise * np.ptp(pressure_pa)
    pressure_pa = pressure_pa + size_pa * random.standard_normal(len(time_s))
    shown = HeldInput(middle_s + later_s, np.array(levels))
    return as_record(time_s, shown.at(time_s), pressure_pa)


def drawn_model(random, form):
    time_constant_s, damping = random.uniform(0.3, 3.0), random.uniform(0.4, 2.5)
    gain = random.choice([-1, 1]) * random.uniform(5e3, 3e4)
    shape = {FIRST: (time_constant_s,), SECOND: (time_constant_s, damping)}
    dead_time_s = time_constant_s * random.uniform(0.0, 1.0)
    return Model(form, gain, dead_time_s, *shape.get(form, ()))


def drawn_record(
    random, model, *, correlated=False, quantised=None, size=None, noisy_input=False
):
    """Draw steps, jitter, trend, noise of 0 to 2 % and an 8-bit converter.

    ``size`` fixes the noise, a share of the pressure's travel.
    """
    slowest_s = model.time_constant_s or random.uniform(0.3, 3.0)
    settling_s = slowest_s * max(model.damping or 1.0, 1.0 / (model.damping or 1.0))
    settling_s *= 2.0 if (model.damping or 0.0) > 1.0 else 1.0
    interval_s = slowest_s / random.uniform(8.0, 40.0)
    starts_s, levels = [random.uniform(1.0, 2.0) * slowest_s + 5 * interval_s], [0.4]
    for _ in range(random.integers(0, 3)):
        pause_s = model.dead_time_s + random.uniform(5.0, 8.0) * settling_s
        starts_s.append(starts_s[-1] + pause_s)
    for _ in starts_s:
        levels.append(levels[-1] + random.choice([-1, 1]) * random.uniform(0.1, 0.3))
    end_s = starts_s[-1] + model.dead_time_s + random.uniform(5.0, 8.0) * settling_s
    time_s = np.arange(0.0, end_s, interval_s)
    if random.random() < 0.7:
        time_s += interval_s * random.uniform(-0.2, 0.2, len(time_s))
    time_s -= time_s[0]
    if random.random() < 0.3:
        # As the controller itself would log: the row of a change is its instant.
        starts_s = [time_s[np.searchsorted(time_s, start_s)] for start_s in starts_s]
    held = HeldInput(np.array(starts_s), np.array(levels))
    pressure_pa = answer_pa(model, held, time_s)
    travel_pa = np.ptp(pressure_pa)
    if random.random() < 0.5:
        pressure_pa += travel_pa * random.uniform(-0.1, 0.1) * time_s / time_s[-1]
    noise = random.standard_normal(len(time_s))
    if correlated:
        share = random.uniform(0.3, 0.8)
        for k in range(1, len(noise)):
            noise[k] = share * noise[k - 1] + np.sqrt(1 - share**2) * noise[k]
    if size is None:
        size = 0.0 if random.random() < 0.15 else random.uniform(0.0, 0.02)
    pressure_pa += size * travel_pa * noise
    if quantised or (quantised is None and random.random() < 0.7):
        quantum_pa = random.uniform(1.2, 4.0) * travel_pa / 255
        pressure_pa = np.round(pressure_pa / quantum_pa) * quantum_pa
    drive = held.at(time_s)
    if noisy_input:
        drive = drive + random.uniform(0.0, 0.004) * random.standard_normal(len(time_s))
    return as_record(time_s, drive, pressure_pa)
