"""The plant's part of a scenario file, made into the plant's parameters."""

from dataclasses import replace
from typing import cast

from host_sim.plant.settings import (
    Air,
    Booster,
    ChainPlant,
    Channel,
    Consumption,
    DirectPlant,
    DirectValve,
    PilotLag,
    PilotVolume,
    PlantSettings,
    Restriction,
    Sensing,
    Supply,
    Thermal,
    Volume,
)
from host_sim.plant.tube import acoustic_delay_s
from host_sim.scenario.build_tube import fit_tube, read_tube
from host_sim.scenario.tree import Tree


def build_plant(tree: Tree) -> PlantSettings:
    """Build the plant's parameters.

    Between the outlet and a sensor at the load lies a tube; where its length is
    known, the time that sound takes counts as transport delay of the sensor. The
    loop sees what it would see if the load itself were late.

    Parameters
    ----------
    tree : Tree
        The file's keys.

    Returns
    -------
    PlantSettings
        Arrangement, air and sensors.

    Notes
    -----
    Source: field by field, the key of the same name.
    """
    chain = tree.text("plant.arrangement") == "chain"
    return PlantSettings(
        _chain(tree) if chain else _direct(tree),
        sensing=Sensing(
            _pressure_channel(tree),
            build_channel(tree, "sensor.supply"),
            "load" if tree.text("sensor.pressure.location") == "load" else "outlet",
            tree.whole("run.seed"),
        ),
    )


def build_channel(tree: Tree, path: str) -> Channel:
    """Build a sensor's way to the counts.

    Parameters
    ----------
    tree : Tree
        The file's keys.
    path : str
        The sensor's table.

    Returns
    -------
    Channel
        The converter and what lies before it; range in [Pa] or [mA].

    Notes
    -----
    Source: field by field, the key of the same name.
    """
    bits = tree.optional(f"{path}.bits")
    return Channel(
        tree.number(f"{path}.low"),
        tree.number(f"{path}.high"),
        None if bits is None else int(bits),
        tree.number(f"{path}.noise"),
        tree.number(f"{path}.lag"),
        tree.number(f"{path}.delay"),
        tree.number(f"{path}.drift"),
    )


def _pressure_channel(tree: Tree) -> Channel:
    channel = build_channel(tree, "sensor.pressure")
    tube = read_tube(tree, "tube") if "tube" in tree.tables else None
    if tube is None or tree.text("sensor.pressure.location") == "outlet":
        return channel
    delay_s = channel.delay_s + acoustic_delay_s(tube, _air(tree))
    return replace(channel, delay_s=delay_s)


def _direct(tree: Tree) -> DirectPlant:
    valve = DirectValve(
        _restriction(tree, "valve.fill"),
        _restriction(tree, "valve.exhaust"),
        tree.number("valve.lag"),
        tree.number("valve.hysteresis"),
    )
    return DirectPlant(
        valve,
        _volume(tree, "load"),
        _supply(tree),
        _restriction_or_none(tree, "load.bleed"),
        Consumption(tree.pairs("load.consumption")),
        _air(tree),
    )


def _chain(tree: Tree) -> ChainPlant:
    booster = Booster(
        tree.number("booster.full_opening"),
        _restriction(tree, "booster.fill"),
        _restriction(tree, "booster.exhaust"),
        tree.number("booster.dead_band"),
        tree.number("booster.lag"),
        tree.number("booster.hysteresis"),
    )
    return ChainPlant(
        _supply(tree),
        _pilot(tree),
        booster,
        _volume(tree, "outlet"),
        _tube(tree, "tube"),
        _volume(tree, "load"),
        _restriction_or_none(tree, "load.bleed"),
        Consumption(tree.pairs("load.consumption")),
        _air(tree),
    )


def _pilot(tree: Tree) -> PilotVolume | PilotLag:
    if tree.has("pilot.chamber"):
        return PilotVolume(
            _volume(tree, "pilot.chamber"),
            _restriction(tree, "pilot.chamber.fill"),
            _restriction(tree, "pilot.chamber.exhaust"),
            _restriction_or_none(tree, "pilot.chamber.bleed"),
        )
    return PilotLag(
        tree.number("pilot.lag.low"),
        tree.number("pilot.lag.high"),
        tree.number("pilot.lag.lag"),
        tree.number("pilot.lag.start"),
    )


def _supply(tree: Tree) -> Supply:
    return Supply(
        tree.number("supply.pressure"),
        tree.pairs("supply.changes"),
        tree.number("supply.ripple"),
        tree.number("supply.ripple_frequency"),
        _tube(tree, "supply.line") if tree.has("supply.line") else None,
        _volume(tree, "supply.volume") if tree.has("supply.volume") else None,
    )


def _air(tree: Tree) -> Air:
    return Air(
        tree.number("air.gas_constant"),
        tree.number("air.gamma"),
        tree.number("air.reference_density"),
        tree.number("air.reference_temperature"),
        tree.number("air.atmosphere"),
        tree.number("air.ambient_temperature"),
    )


def _volume(tree: Tree, path: str) -> Volume:
    return Volume(
        tree.number(f"{path}.volume"),
        tree.number(f"{path}.start"),
        # The schema's choices are the literal's.
        cast("Thermal", tree.text(f"{path}.thermal")),
        tree.number(f"{path}.exponent"),
        tree.number(f"{path}.wall_conductance"),
        tree.number(f"{path}.wall_temperature"),
    )


def _restriction(tree: Tree, path: str) -> Restriction:
    return Restriction(
        tree.number(f"{path}.conductance"),
        tree.number(f"{path}.critical_ratio"),
        tree.number(f"{path}.index"),
    )


def _tube(tree: Tree, path: str) -> Restriction:
    tube = read_tube(tree, path)
    if tube is None:
        return _restriction(tree, path)
    return fit_tube(tree, path, tube, _air(tree)).restriction


def _restriction_or_none(tree: Tree, path: str) -> Restriction | None:
    return _restriction(tree, path) if tree.has(path) else None
