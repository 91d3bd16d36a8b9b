"""What a reader should know of a plant that its keys do not say."""

from collections.abc import Iterator

from host_sim.plant.real_gas import WORTH_A_WORD, ideal_density_error
from host_sim.plant.settings import Air, ChainPlant, DirectPlant, Tube
from host_sim.plant.tube import acoustic_delay_s
from host_sim.scenario.build_tube import UPSTREAM, fit_tube, read_tube
from host_sim.scenario.tree import Tree
from host_sim.scenario.units import format_quantity


def plant_notes(tree: Tree, plant: DirectPlant | ChainPlant) -> tuple[str, ...]:
    """Tell what tubes count as, and where ideal gas errs.

    Parameters
    ----------
    tree : Tree
        The file's keys.
    plant : DirectPlant or ChainPlant
        The plant that was built of them.

    Returns
    -------
    tuple of str
        One line each: C, b and delay of every tube given by its size; the error
        of ideal gas in the density where it exceeds 0.5 % at the highest supply
        pressure and the ambient temperature.

    Notes
    -----
    Source: `host_sim.plant.tube` and `host_sim.plant.real_gas`.
    """
    return (*_tube_notes(tree, plant), *_gas_notes(tree, plant))


def _tube_notes(tree: Tree, plant: DirectPlant | ChainPlant) -> Iterator[str]:
    for path in UPSTREAM:
        tube = read_tube(tree, path) if path in tree.tables else None
        if tube is not None:
            yield _tube_note(tree, path, tube, plant.air)


def _tube_note(tree: Tree, path: str, tube: Tube, air: Air) -> str:
    fit = fit_tube(tree, path, tube, air)
    conductance_text = format_quantity(
        fit.restriction.conductance_m3_s_pa, "conductance", "dm3/(s.bar)"
    )
    note = (
        f"{path}: {tree.said(f'{path}.length')} of "
        f"{tree.said(f'{path}.inner_diameter')} bore counts as C = {conductance_text}, "
        f"b = {fit.restriction.critical_ratio:.3f}, fitted at "
        f"{_pressure(tree, fit.upstream_pa)} upstream, within "
        f"{100 * fit.error:.2g} % of choked flow"
    )
    if path == "tube" and tree.text("sensor.pressure.location") == "load":
        delay_ms = 1e3 * acoustic_delay_s(tube, air)
        note += f"; sound takes {delay_ms:.3g} ms, which delays the sensor"
    return note


def _gas_notes(tree: Tree, plant: DirectPlant | ChainPlant) -> Iterator[str]:
    supply, ambient_k = plant.supply, plant.air.ambient_temperature_k
    levels_pa = [supply.pressure_pa, *(level_pa for _, level_pa in supply.changes)]
    highest_pa = max(levels_pa) + supply.ripple_pa
    error = ideal_density_error(highest_pa, ambient_k)
    if abs(error) > WORTH_A_WORD:
        yield (
            f"ideal gas errs by {100 * error:+.2f} % in the density of air at "
            f"{_pressure(tree, highest_pa)} and {ambient_k - 273.15:.3g} degC, the "
            "highest supply: air masses and flows are that uncertain"
        )


def _pressure(tree: Tree, pressure_pa: float) -> str:
    unit = tree.text("display.pressure")
    return format_quantity(pressure_pa, "pressure", unit, tree.basis)
