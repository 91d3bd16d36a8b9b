"""The whole job on one scenario: size, choose, tune, compare, value."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import tomlkit

from host_sim.measure.comparison import Trial, compare_gains
from host_sim.measure.study import Study, study
from host_sim.plant.settings import Restriction
from host_sim.scenario.load import Scenario, load_scenario, shipped_scenario_path
from host_sim.scenario.recording import read_text
from host_sim.show.files import write_whole
from host_sim.size.catalogue import read_catalogue
from host_sim.size.savings import Savings, estimate_savings, read_case
from host_sim.size.selection import Candidate, Selection, select
from host_sim.size.sizing import Sizing, size
from host_sim.tune.rewrite import retuned_text
from host_sim.tune.tune import Tuned, tune

MEMBERS = 24
"""Machines of the family: enough for a first look in seconds; `tune` takes more."""
SEED = 1
SHARE_OF_TUNING = (0.3, 0.9)

Progress = Callable[[str, float], None]


@dataclass(frozen=True)
class Story:
    """What each part found, from the machine as it is to what a better one is worth.

    ``files`` are the scenarios written on the way.
    """

    before: Study
    trials: list[Trial]
    sizing: Sizing
    selection: Selection
    chosen: Candidate
    tuned: Tuned
    after: Study
    savings: Savings
    files: tuple[Path, ...]


def tell(folder: Path, progress: Progress) -> Story:
    """Do the whole job on the shipped, invented veneer press.

    Parameters
    ----------
    folder : Path
        Exists; takes the scenario with the chosen unit, and with its gains.
    progress : callable
        Called with what is done now and the share done in all.

    Returns
    -------
    Story

    Raises
    ------
    InputError
        A folder that is not writable.
    """
    path = shipped_scenario_path()
    scenario = load_scenario(path)
    progress("running the machine as it is", 0.0)
    before = study(scenario)
    trials = compare_gains(scenario)
    progress("sizing", 0.1)
    sizing = size(scenario)
    progress("choosing from the catalogue", 0.2)
    air = scenario.plant.arrangement.air
    catalogue = read_catalogue(path.with_name("catalogue.csv"), air, scenario.basis)
    selection = select(scenario, catalogue, "price")
    chosen = selection.fitting[0]
    equipped, tuned_path = folder / "with_new_unit.toml", folder / "tuned.toml"
    _write(equipped, _equipped_text(path, chosen))
    machine = _small_family(load_scenario(equipped))
    first, last = SHARE_OF_TUNING
    tuned = tune(
        machine, SEED, lambda words, x: progress(words, first + x * (last - first))
    )
    _write(tuned_path, retuned_text(equipped, tuned.best.law, tuned_path))
    progress("running the machine as it could be", last)
    after = study(load_scenario(tuned_path))
    progress("valuing the difference", 0.95)
    case = read_case(path, tuned_path, path.with_name("savings.toml"))
    return Story(
        before=before,
        trials=trials,
        sizing=sizing,
        selection=selection,
        chosen=chosen,
        tuned=tuned,
        after=after,
        savings=estimate_savings(case),
        files=(equipped, tuned_path),
    )


def _small_family(scenario: Scenario) -> Scenario:
    return replace(scenario, family=replace(scenario.family, members=MEMBERS))


def _equipped_text(path: Path, chosen: Candidate) -> str:
    """Write the scenario's text with the booster of the unit chosen."""
    document = tomlkit.parse(read_text(path))
    booster = document["booster"]
    booster["fill"] = _path(chosen.unit.fill.likely)
    booster["exhaust"] = _path(chosen.unit.exhaust.likely)
    return tomlkit.dumps(document)


def _path(restriction: Restriction) -> dict[str, str]:
    return {
        "conductance": f"{restriction.conductance_m3_s_pa * 1e8:.6g} dm3/(s.bar)",
        "critical_ratio": f"{restriction.critical_ratio:.6g}",
    }


def _write(path: Path, text: str) -> None:
    write_whole(path, partial(Path.write_text, data=text, encoding="utf-8"))
