"""How long a first run waits: for imports, and for its machine code.

`measure_first_runs` starts ``python -m bench.host_first_run FILE`` twice with one
cache that is empty at first: the first process compiles, the second finds the code
on disk.
"""

import importlib
import json
import os
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path
from time import perf_counter

ROOT = Path(__file__).parents[1]
TICKS = 100


@dataclass(frozen=True)
class FirstRun:
    """What one fresh process waited for.

    Attributes
    ----------
    import_s : float
        Importing the loop and all that it needs.
    single_s, lanes_s : float
        The first single run and the first batch of 100 ticks: next to nothing
        but compiling, or loading what was compiled.
    """

    import_s: float
    single_s: float
    lanes_s: float


def measure_first_runs(scenario: Path) -> dict[str, FirstRun]:
    """Run a scenario in two fresh processes: compiling, then from the cache."""
    with tempfile.TemporaryDirectory() as cache:
        return {
            name: _in_fresh_process(scenario, cache) for name in ("compiled", "cached")
        }


def _in_fresh_process(scenario: Path, cache: str) -> FirstRun:
    done = subprocess.run(
        [sys.executable, "-m", "bench.host_first_run", str(scenario)],
        env={**os.environ, "XDG_CACHE_HOME": cache},
        cwd=ROOT,
        stdout=subprocess.PIPE,
        text=True,
        check=True,
    )
    return FirstRun(**json.loads(done.stdout))


def main(path: Path) -> None:
    """Be the fresh process."""
    began = perf_counter()
    # Not at the top: what is measured must not have been imported yet.
    case = importlib.import_module("bench.host_case")
    batch = importlib.import_module("host_sim.loop.batch")
    compiled = importlib.import_module("host_sim.loop.compiled")
    load = importlib.import_module("host_sim.scenario.load")
    rig = importlib.import_module("host_sim.loop.rig")
    watched = importlib.import_module("host_sim.measure.watched")
    import_s = perf_counter() - began

    scenario = case.with_ticks(load.load_scenario(path), TICKS)
    loop = watched.watch_steps(scenario, rig.make_rig(scenario))
    began = perf_counter()
    compiled.run_compiled(scenario)
    single_s = perf_counter() - began
    began = perf_counter()
    list(batch.run_batch([loop] * batch.LANES, 1))
    lanes_s = perf_counter() - began
    print(json.dumps(vars(FirstRun(import_s, single_s, lanes_s))))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
