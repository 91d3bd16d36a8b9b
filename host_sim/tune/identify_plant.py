"""The physical parameters of arrangement A, fitted to a record.

A pressure alone tells conductance over volume, never both: a larger bag behind a
larger valve moves just the same. So one of them must be known, or a flow that is
known in itself, such as a metered consumption, which moves a small bag faster
than a large one.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from host_sim.errors import InputError
from host_sim.measure.curve import FloatArray
from host_sim.plant.settings import DirectPlant
from host_sim.scenario.load import Scenario
from host_sim.tune.identify_intervals import Evidence, half_widths, lag_one, misfits
from host_sim.tune.identify_plant_search import LAG, Known, PlantSearch
from host_sim.tune.identify_signal import Step, recorded_noise_pa
from host_sim.tune.record import Record

_LARGEST_DRIVE = 1.0001
_END_SHARE = 1e-3
_NOT_TOLD = 2.0
"""Upper over lower end of an interval beyond which a record tells nothing."""


@dataclass(frozen=True)
class PlantFit:
    """What a record tells of arrangement A.

    Attributes
    ----------
    known : str
        What was taken from the scenario: "volume", "conductance" or
        "consumption".
    steps : tuple of Step
        Of the drive.
    numbers, intervals : dict
        "fill_per_volume_1_s_pa", "exhaust_per_volume_1_s_pa" (conductance over
        volume), what follows of "volume_m3", "fill_m3_s_pa", "exhaust_m3_s_pa",
        and "valve_lag_s": number, and (low, high) of intervals that hold together in
        95 of 100 records.
    fitted_pa : ndarray
        Sensed pressure of the fitted plant at each row [Pa].
    residual_pa, fit_percent, correlation : float
        As of a `Candidate`.
    notes : tuple of str
        What the record does not tell, and what to record instead.
    """

    known: Known
    steps: tuple[Step, ...]
    numbers: dict[str, float]
    intervals: dict[str, tuple[float, float]]
    fitted_pa: FloatArray
    residual_pa: float
    fit_percent: float
    correlation: float
    notes: tuple[str, ...]


def fit_plant(
    record: Record,
    scenario: Scenario,
    known: Known = "volume",
    each_run: Callable[[str], None] | None = None,
) -> PlantFit:
    """Fit volume, conductances and valve lag of arrangement A.

    Everything else, supply, critical ratios, heat model, bleed, play, sensor, is
    the scenario's. Its scripts count from the first row; a recorded supply goes
    before its own and stands at the valve.

    Parameters
    ----------
    record : Record
        Of a valve drive, in per cent or as a share.
    scenario : Scenario
        Of arrangement A.
    known : str
        What of the scenario counts as known: the load volume; the conductance
        for filling (for venting, if the record never fills); or consumption and
        bleed.
    each_run : callable, optional
        Told, in words, which simulated run is done.

    Returns
    -------
    PlantFit

    Raises
    ------
    InputError
        Another arrangement, an input that is no drive, no step, a saturated
        sensor, nothing known that sets the scale.

    Notes
    -----
    Source: least squares on `host_sim.plant.Plant`; intervals as `half_widths`.
    """
    plant = _check(record, scenario, known)
    search = PlantSearch(record, plant, scenario.plant.sensing, known, each_run)
    point = search.minimise()
    evidence = search.evidence(point)
    numbers, intervals = _answer(search, point, evidence)
    residual_pa = float(np.std(evidence.residuals_pa))
    fit_percent = 100.0 * (1.0 - residual_pa / float(np.std(record.pressure_pa)))
    return PlantFit(
        known=known,
        steps=tuple(search.steps),
        numbers=numbers,
        intervals=intervals,
        fitted_pa=evidence.fitted_pa,
        residual_pa=residual_pa,
        fit_percent=fit_percent,
        correlation=lag_one(evidence.residuals_pa),
        notes=(*_not_told(search, intervals), *_missed(record, evidence)),
    )


def _check(record: Record, scenario: Scenario, known: Known) -> DirectPlant:
    plant = scenario.plant.arrangement
    if not isinstance(plant, DirectPlant):
        raise InputError(
            f"{scenario.title}: a pilot and a booster; volume and conductance are "
            "found for one valve alone (plant.arrangement = 'direct'); leave the "
            "scenario out and use the linear model"
        )
    if record.signal.kind != "ratio" or np.abs(record.input).max() > _LARGEST_DRIVE:
        raise InputError(
            f"{record.file}: {record.signal.name!r} is no valve drive within +-100 %; "
            "name the column of the drive with --input, or leave the scenario out"
        )
    if known == "consumption" and plant.bleed is None and not plant.consumption.changes:
        raise InputError(
            f"{scenario.title}: neither load.consumption nor load.bleed, so nothing "
            "known sets the scale; write one of them, or take the volume or the "
            "conductance as known"
        )
    channel = scenario.plant.sensing.pressure
    slack_pa = _END_SHARE * (channel.high - channel.low)
    if record.pressure_pa.max() > channel.high - slack_pa or (
        record.pressure_pa.min() < channel.low + slack_pa
    ):
        raise InputError(
            f"{record.file}: saturated sensor: {record.pressure_name!r} reaches the "
            "end of sensor.pressure; record a smaller step, or correct the "
            "scenario's range"
        )
    return plant


def _answer(
    search: PlantSearch, point: FloatArray, evidence: Evidence
) -> tuple[dict[str, float], dict[str, tuple[float, float]]]:
    """Give numbers and intervals of all quantities."""
    logarithms = search.logarithms()
    lag = search.unit(LAG)
    directions = np.array([*(weights for weights, _ in logarithms.values()), lag])
    *widths, lag_width_s = half_widths(evidence, directions).tolist()
    numbers, intervals = {}, {}
    for (name, (weights, constant)), width in zip(
        logarithms.items(), widths, strict=True
    ):
        number = math.exp(float(weights @ point) + constant)
        # A factor beyond all measure is no knowledge.
        factor = math.exp(width) if width < 50.0 else math.inf
        numbers[name] = number
        intervals[name] = (number / factor, number * factor)
    lag_s = float(lag @ point)
    numbers[LAG] = lag_s if lag_s > search.shortest_lag_s else 0.0
    intervals[LAG] = (max(lag_s - lag_width_s, 0.0), lag_s + lag_width_s)
    return numbers, intervals


def _not_told(
    search: PlantSearch, intervals: dict[str, tuple[float, float]]
) -> list[str]:
    notes: list[str] = []
    for used, word, sign in (
        (search.fills, "fills", "above"),
        (search.vents, "vents", "below"),
    ):
        if not used:
            notes.append(
                f"the record never {word} through the valve: that conductance is the "
                f"scenario's; record a step of the drive to {sign} 0 %"
            )
    vague = [
        name.rsplit("_", 2)[0].replace("_", " ")
        for name, (low, high) in intervals.items()
        if name != LAG and high > _NOT_TOLD * low
    ]
    if vague:
        notes.append(
            f"the record hardly tells {', '.join(vague)}; record larger steps, or take "
            "something else as known"
        )
    return notes


def _missed(record: Record, evidence: Evidence) -> list[str]:
    if not misfits(evidence, recorded_noise_pa(record)):
        return []
    share = float(np.std(evidence.residuals_pa)) / float(np.ptp(record.pressure_pa))
    return [
        f"the plant misses by {100 * share:.1f} % of the pressure's travel, more than "
        "the noise: check supply, heat model, bleed, play and sensor"
    ]
