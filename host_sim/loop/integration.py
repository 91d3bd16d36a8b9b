"""How far the plant's fixed substeps are from the truth in a run."""

from collections.abc import Sequence

import numpy as np

from host_sim.loop.engine import Engine, pick
from host_sim.loop.native import driver
from host_sim.loop.record import Run
from host_sim.loop.rig import FloatArray, make_rig
from host_sim.plant.error_estimate import error_estimate_pa, load_pressures_pa
from host_sim.plant.plant import Plant
from host_sim.scenario.load import Scenario


def integration_error_pa(
    scenario: Scenario, run: Run, engine: Engine = "auto"
) -> float:
    """Estimate the largest integration error of a run's load pressure.

    The plant alone is run again under the recorded drives, at its substeps and
    at twice as many; see `plant.error_estimate`.

    Parameters
    ----------
    scenario : Scenario
    run : Run
        Of it, whole or interrupted.
    engine : str

    Returns
    -------
    float
        Estimated error [Pa].
    """
    drives = run.columns["drive_percent"] / 100.0

    def compiled(plant: Plant, drives: Sequence[float]) -> FloatArray:
        rig = make_rig(scenario, plant)
        given = rig.arguments()
        record = np.empty(len(drives))
        driver(rig.shape)(
            {
                "ticks": len(drives),
                "tick_s": rig.tick_s,
                "drives": np.ascontiguousarray(drives),
                "scripts": given["scripts"],
                "record": record,
                "body": given["body"],
            }
        )
        return record

    runner = compiled if pick(scenario, engine) == "compiled" else load_pressures_pa
    return error_estimate_pa(
        scenario.plant, scenario.law.tick_s, drives.tolist(), runner
    )
