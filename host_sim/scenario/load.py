"""A scenario file, read whole: machine, law, command and how to show them."""

import importlib.resources
import tomllib
from dataclasses import dataclass
from pathlib import Path

from host_sim.law.settings import Gains, LawSettings
from host_sim.plant.settings import Channel, PlantSettings
from host_sim.scenario.build_law import build_gain_sets, build_law
from host_sim.scenario.build_plant import build_channel, build_plant
from host_sim.scenario.checks import check
from host_sim.scenario.plant_notes import plant_notes
from host_sim.scenario.profile import Profile
from host_sim.scenario.recording import read_recording, read_text
from host_sim.scenario.refusal import refusal
from host_sim.scenario.supervision import (
    RelayTest,
    Supervision,
    build_relay_test,
    build_supervision,
)
from host_sim.scenario.tree import Tree
from host_sim.scenario.tuning import Family, Limits, build_family, build_limits
from host_sim.scenario.units import Basis
from host_sim.scenario.wanted import Wanted, build_wanted


@dataclass(frozen=True)
class Scenario:
    """All that a run needs, as one scenario file says it.

    ``pressure_range_pa`` is absolute, 0 % and 100 %. ``current_channel`` is
    the converter of the command [mA]. ``gain_sets`` are further gains for a
    comparison, in the file's order. ``pressure_unit`` and ``flow_unit`` are
    for people; with ``basis`` they go to `units.format_quantity`. ``notes``
    tell what a reader should know of a recorded command and of the plant.
    ``wanted`` is what sizing aims at, where the file says it; ``family`` and
    ``limits`` are for tuning, ``supervision`` and ``relay_test`` for a board.
    """

    title: str
    plant: PlantSettings
    law: LawSettings
    profile: Profile
    duration_s: float
    ticks: int
    compute_delay_ticks: int
    current_channel: Channel
    pressure_range_pa: tuple[float, float]
    settle_band: float
    gain_sets: dict[str, Gains]
    basis: Basis
    pressure_unit: str
    flow_unit: str
    notes: tuple[str, ...]
    wanted: Wanted | None
    family: Family
    limits: Limits
    supervision: Supervision
    relay_test: RelayTest


def shipped_scenario_path(name: str = "veneer_press.toml") -> Path:
    """Find a scenario that comes with the program.

    Parameters
    ----------
    name : str
        File name, with its ending.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    InputError
        No such scenario; the text lists those there are.

    Notes
    -----
    Source: common practice.

    Examples
    --------
    >>> shipped_scenario_path().name
    'veneer_press.toml'
    """
    folder = Path(str(importlib.resources.files("host_sim") / "scenario" / "shipped"))
    if (folder / name).is_file():
        return folder / name
    names = ", ".join(sorted(path.name for path in folder.glob("*.toml")))
    raise refusal("shipped scenario", name, "no such file", f"there are {names}")


def load_scenario(path: Path) -> Scenario:
    """Read a scenario file.

    Parameters
    ----------
    path : Path
        A TOML file; a recording that it names is sought beside it.

    Returns
    -------
    Scenario
        Everything in SI units, checked.

    Raises
    ------
    InputError
        Anything wrong with the file, in one line: what, where, the allowed
        range and the remedy.

    Notes
    -----
    Source: TOML 1.0 through `tomllib`.

    Examples
    --------
    >>> load_scenario(shipped_scenario_path()).law.tick_s
    0.01
    """
    tree = Tree(_read_toml(path), str(path))
    plant = build_plant(tree)
    profile = _read_profile(tree, path)
    check(tree, plant.arrangement, profile)
    tick_s, duration_s = tree.number("run.tick"), tree.number("run.duration")
    return Scenario(
        title=tree.text("title"),
        plant=plant,
        law=build_law(tree),
        profile=profile,
        duration_s=duration_s,
        ticks=round(duration_s / tick_s),
        compute_delay_ticks=tree.whole("run.compute_delay_ticks"),
        current_channel=build_channel(tree, "sensor.current"),
        pressure_range_pa=(tree.number("range.low"), tree.number("range.high")),
        settle_band=tree.number("run.settle_band"),
        gain_sets=build_gain_sets(tree),
        basis=tree.basis,
        pressure_unit=tree.text("display.pressure"),
        flow_unit=tree.text("display.flow"),
        notes=(*profile.notes, *plant_notes(tree, plant.arrangement)),
        wanted=build_wanted(tree),
        family=build_family(tree),
        limits=build_limits(tree),
        supervision=build_supervision(tree),
        relay_test=build_relay_test(tree),
    )


def _read_toml(path: Path) -> dict[str, object]:
    text = read_text(path)
    if not text.strip():
        raise refusal(str(path), None, "empty file", "copy the shipped scenario")
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        remedy = "put it right there; texts and units stand in quotes"
        raise refusal(str(path), None, f"not TOML: {error}", remedy) from None


def _read_profile(tree: Tree, path: Path) -> Profile:
    if tree.given("profile.recording"):
        return read_recording(path.parent / tree.text("profile.recording"))
    steps = tree.pairs("profile.steps")
    times_s = tuple(time_s for time_s, _ in steps)
    return Profile(times_s, tuple(current_ma for _, current_ma in steps))
