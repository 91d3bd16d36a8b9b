"""Values that are sound one by one, and unsound together."""

from collections.abc import Iterable

from host_sim.errors import InputError
from host_sim.plant.settings import (
    ChainPlant,
    DirectPlant,
    PilotLag,
    PilotVolume,
    Volume,
)
from host_sim.scenario.profile import Profile
from host_sim.scenario.refusal import refusal
from host_sim.scenario.tree import Tree
from host_sim.scenario.units import format_quantity, in_unit

# Paths whose quantity must stay below that of another.
ASCENDING = (
    ("sensor.pressure.low", "sensor.pressure.high"),
    ("sensor.supply.low", "sensor.supply.high"),
    ("sensor.current.low", "sensor.current.high"),
    ("measurement.valid_low", "measurement.valid_high"),
    ("supply_compensation.valid_low", "supply_compensation.valid_high"),
    ("command.setpoint_low", "command.setpoint_high"),
    ("command.low_fault", "command.high_fault"),
    ("output.low", "output.high"),
)
# Paths whose quantity must not exceed that of another.
WITHIN = (
    ("sensor.pressure.low", "range.low"),
    ("range.high", "sensor.pressure.high"),
    ("air.atmosphere", "range.low"),
    ("sensor.supply.low", "supply.pressure"),
    ("supply.pressure", "sensor.supply.high"),
    ("sensor.current.low", "command.low_fault"),
    ("command.high_fault", "sensor.current.high"),
    ("output.low", "output.safe_output"),
    ("output.safe_output", "output.high"),
)
SCRIPTS = ("profile.steps", "supply.changes", "load.consumption")


def check(tree: Tree, plant: DirectPlant | ChainPlant, profile: Profile) -> None:
    """Refuse a scenario whose values contradict one another.

    Parameters
    ----------
    tree : Tree
        The file's keys.
    plant : DirectPlant or ChainPlant
        The plant that was built of them.
    profile : Profile
        The command.

    Raises
    ------
    InputError
        The first contradiction, with both keys and the remedy.

    Notes
    -----
    Source: common practice.
    """
    _check_units(tree)
    _check_order(tree)
    _check_command(tree)
    _check_scripts(tree)
    _check_supply(tree, plant)
    _check_volumes(tree, plant)
    _check_setpoints(tree, plant, profile)
    _check_compensation(tree, plant)


def _check_units(tree: Tree) -> None:
    for name in ("pressure", "flow"):
        path = f"display.{name}"
        try:
            in_unit(0.0, name, tree.text(path), tree.basis)
        except InputError as error:
            raise InputError(f"{tree.where(path)}: {error}") from None


def _check_order(tree: Tree) -> None:
    for low, high in ASCENDING:
        if tree.number(low) >= tree.number(high):
            raise _refuse(tree, high, f"not above {low}", f"raise {high}")
    for low, high in WITHIN:
        if tree.number(low) > tree.number(high):
            remedy = f"raise {high} or lower {low}"
            raise _refuse(tree, high, f"below {low}", remedy)


def _refuse(tree: Tree, path: str, why: str, remedy: str) -> InputError:
    return refusal(tree.where(path), tree.said(path), why, remedy)


def _check_command(tree: Tree) -> None:
    start_ma, end_ma = tree.number("command.start"), tree.number("command.end")
    if start_ma >= end_ma:
        remedy = "raise command.end; for less pressure at more current set reverse"
        raise _refuse(tree, "command.end", "not above command.start", remedy)
    if tree.number("command.low_fault") >= start_ma:
        why, remedy = "not below command.start", "lower command.low_fault"
        raise _refuse(tree, "command.low_fault", why, remedy)
    if tree.number("command.high_fault") <= end_ma:
        why, remedy = "not above command.end", "raise command.high_fault"
        raise _refuse(tree, "command.high_fault", why, remedy)


def _check_scripts(tree: Tree) -> None:
    duration_s = tree.number("run.duration")
    for path in SCRIPTS:
        for number, (time_s, _) in enumerate(tree.pairs(path), start=1):
            if time_s >= duration_s:
                where = f"{tree.where(path)}, pair {number}"
                why = f"not before the end, run.duration = {duration_s:g} s"
                remedy = "lengthen run.duration or drop the pair"
                raise refusal(where, f"{time_s:g} s", why, remedy)
    steps = tree.pairs("profile.steps")
    if tree.given("profile.steps") and (not steps or steps[0][0] != 0.0):
        why, remedy = "says no current at 0 s", 'begin with a pair at "0 s"'
        raise _refuse(tree, "profile.steps", why, remedy)
    if tree.number("run.tick") > duration_s:
        why, remedy = "longer than run.duration", "shorten run.tick"
        raise _refuse(tree, "run.tick", why, remedy)


def _check_supply(tree: Tree, plant: DirectPlant | ChainPlant) -> None:
    if (plant.supply.line is None) != (plant.supply.volume is None):
        missing = "supply.line" if plant.supply.line is None else "supply.volume"
        other = "supply.volume" if plant.supply.line is None else "supply.line"
        why = f"missing beside {other}"
        raise refusal(tree.where(missing), None, why, "give both or none")
    if plant.supply.ripple_pa and not plant.supply.ripple_hz:
        why, remedy = "zero beside supply.ripple", "write for example '2 Hz'"
        raise _refuse(tree, "supply.ripple_frequency", why, remedy)


def _source_pressures_pa(plant: DirectPlant | ChainPlant) -> list[float]:
    changed_pa = [pressure_pa for _, pressure_pa in plant.supply.changes]
    return [plant.supply.pressure_pa, *changed_pa]


def _volumes(plant: DirectPlant | ChainPlant) -> Iterable[tuple[str, Volume]]:
    yield "load", plant.load
    if plant.supply.volume is not None:
        yield "supply.volume", plant.supply.volume
    if isinstance(plant, ChainPlant):
        yield "outlet", plant.outlet
        if isinstance(plant.pilot, PilotVolume):
            yield "pilot.chamber", plant.pilot.chamber


def _check_volumes(tree: Tree, plant: DirectPlant | ChainPlant) -> None:
    starts_pa = {
        f"{path}.start": volume.start_pressure_pa for path, volume in _volumes(plant)
    }
    if isinstance(plant, ChainPlant) and isinstance(plant.pilot, PilotLag):
        starts_pa["pilot.lag.start"] = plant.pilot.start_pressure_pa
    low_pa, high_pa = plant.air.atmosphere_pa, max(_source_pressures_pa(plant))
    for path, start_pa in starts_pa.items():
        if not low_pa <= start_pa <= high_pa:
            highest = _pressure(tree, high_pa)
            why = f"not between the atmosphere and the supply's {highest}"
            remedy = "start between atmosphere and supply"
            raise _refuse(tree, path, why, remedy)
    for path, volume in _volumes(plant):
        if volume.thermal == "wall" and not volume.wall_conductance_w_k:
            why, remedy = 'zero beside thermal = "wall"', "write for example '2 W/K'"
            raise _refuse(tree, f"{path}.wall_conductance", why, remedy)


def _check_compensation(tree: Tree, plant: DirectPlant | ChainPlant) -> None:
    asks_pressure = isinstance(plant, ChainPlant) and isinstance(plant.pilot, PilotLag)
    if asks_pressure and tree.number("supply_compensation.strength") > 0.0:
        raise _refuse(
            tree,
            "supply_compensation.strength",
            "with pilot.lag the output asks for a pressure, not for a flow, and "
            "would overshoot when the supply sags",
            "set it to 0 % or describe the pilot as pilot.chamber",
        )


def _check_setpoints(
    tree: Tree, plant: DirectPlant | ChainPlant, profile: Profile
) -> None:
    lowest_pa = min(_source_pressures_pa(plant)) - plant.supply.ripple_pa
    duration_s = tree.number("run.duration")
    for time_s, current_ma in zip(profile.times_s, profile.currents_ma, strict=True):
        asked_pa = _setpoint_pa(tree, current_ma)
        if time_s < duration_s and asked_pa >= lowest_pa:
            path = "steps" if tree.given("profile.steps") else "recording"
            why = (
                f"{current_ma:g} mA at {time_s:g} s asks for "
                f"{_pressure(tree, asked_pa)}, but the supply is "
                f"{_pressure(tree, lowest_pa)} at its lowest"
            )
            remedy = "raise supply.pressure (and its changes) or lower the current"
            raise refusal(tree.where(f"profile.{path}"), None, why, remedy)


def _setpoint_pa(tree: Tree, current_ma: float) -> float:
    start_ma, end_ma = tree.number("command.start"), tree.number("command.end")
    share = (current_ma - start_ma) / (end_ma - start_ma)
    if tree.flag("command.reverse"):
        share = 1.0 - share
    low, high = (tree.number(f"command.setpoint_{end}") for end in ("low", "high"))
    low_pa, high_pa = tree.number("range.low"), tree.number("range.high")
    return low_pa + (high_pa - low_pa) * min(max(share, low), high)


def _pressure(tree: Tree, pressure_pa: float) -> str:
    unit = tree.text("display.pressure")
    return format_quantity(pressure_pa, "pressure", unit, tree.basis)
