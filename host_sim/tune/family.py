"""The machines that one tuning must serve."""

from dataclasses import dataclass, replace
from itertools import product

from host_sim.campaign.space import Axis, Space, Uniform, noise_seed
from host_sim.plant.settings import (
    Air,
    ChainPlant,
    DirectPlant,
    PilotVolume,
    PlantSettings,
    Supply,
    Volume,
)
from host_sim.scenario.load import Scenario

SUPPLY, LOAD, LAG, HYSTERESIS = "supply", "load volume", "sensor lag", "hysteresis"
TEMPERATURE = "temperature"
ZERO_CELSIUS_K = 273.15


@dataclass(frozen=True)
class Member:
    """One machine of a family, and how it differs from the scenario's own.

    ``differs`` holds shares by which something is more (or less), but for the
    temperature of air and walls [K].
    """

    name: str
    scenario: Scenario
    differs: dict[str, float]

    def in_words(self) -> str:
        """Name it, and say how it differs.

        Returns
        -------
        str
            Temperatures in degC, all else in percent.
        """
        if not self.differs:
            return self.name
        parts = [
            f"{1e2 * share:+.0f} % {what}"
            for what, share in self.differs.items()
            if what != TEMPERATURE
        ]
        degrees_c = self.differs[TEMPERATURE] - ZERO_CELSIUS_K
        return f"{self.name}: {', '.join([*parts, f'at {degrees_c:.0f} degC'])}"


def make_family(scenario: Scenario) -> list[Member]:
    """Draw a family; the scenario's own machine is its first member.

    Sobol points fill the spreads evenly. The law stays what it is: it does not
    know which machine it has.

    Parameters
    ----------
    scenario : Scenario

    Returns
    -------
    list of Member

    >>> from host_sim.scenario.load import load_scenario, shipped_scenario_path
    >>> family = make_family(load_scenario(shipped_scenario_path()))
    >>> len(family), family[0].in_words()
    (200, "the scenario's own machine")
    """
    asked = scenario.family
    axes: dict[str, Axis] = {
        what: Uniform(low, high) for what, (low, high) in spreads(scenario).items()
    }
    rows = Space(axes, asked.members - 1, asked.seed).draw(0, asked.members - 1)
    members = [own_machine(scenario)]
    for number, row in enumerate(rows.tolist(), 1):
        differs = dict(zip(axes, row, strict=True))
        changed = _changed(scenario, differs, number)
        members.append(Member(f"machine {number}", changed, differs))
    return members


def own_machine(scenario: Scenario) -> Member:
    """Take a scenario's own machine for a member."""
    return Member("the scenario's own machine", scenario, {})


def make_corners(scenario: Scenario) -> list[Member]:
    """Build the machines at the ends of the spreads, which enclose the family.

    A supply that is high meets hot air, one that is low meets cold air: either
    moves the pressure quickly, or slowly. All have the most hysteresis.

    Parameters
    ----------
    scenario : Scenario

    Returns
    -------
    list of Member
        Two for each spread beside temperature and hysteresis, in all combinations.
    """
    ends = spreads(scenario)
    free = {what: ends[what] for what in (SUPPLY, LOAD, LAG) if what in ends}
    corners = []
    for chosen in product((0, 1), repeat=len(free)):
        differs = {
            what: free[what][end] for what, end in zip(free, chosen, strict=True)
        }
        is_strong = differs.get(SUPPLY, 0.0) > 0.0
        differs[TEMPERATURE] = ends[TEMPERATURE][is_strong]
        if HYSTERESIS in ends:
            differs[HYSTERESIS] = ends[HYSTERESIS][1]
        corners.append(Member("corner", _changed(scenario, differs, 0), differs))
    return corners


def spreads(scenario: Scenario) -> dict[str, tuple[float, float]]:
    """Find what differs between the machines, and between which ends.

    What a machine has none of, such as hysteresis, does not differ.
    """
    asked, built = scenario.family, scenario.plant.arrangement
    play = built.valve if isinstance(built, DirectPlant) else built.booster
    shares = {
        SUPPLY: asked.supply,
        LOAD: asked.load_volume,
        LAG: asked.sensor_lag if scenario.plant.sensing.pressure.lag_s else 0.0,
        HYSTERESIS: asked.hysteresis if play.hysteresis else 0.0,
    }
    ends = {what: (-share, share) for what, share in shares.items() if share}
    return {**ends, TEMPERATURE: (asked.temperature_low_k, asked.temperature_high_k)}


def _changed(scenario: Scenario, differs: dict[str, float], number: int) -> Scenario:
    sensing = scenario.plant.sensing
    lag_s = sensing.pressure.lag_s * (1.0 + differs.get(LAG, 0.0))
    seen = replace(
        sensing,
        pressure=replace(sensing.pressure, lag_s=lag_s),
        seed=noise_seed(scenario.family.seed, number),
    )
    built = _built(scenario.plant.arrangement, differs)
    return replace(scenario, plant=PlantSettings(built, sensing=seen))


def _built(
    built: DirectPlant | ChainPlant, differs: dict[str, float]
) -> DirectPlant | ChainPlant:
    warmer_k = differs[TEMPERATURE] - built.air.ambient_temperature_k
    air = replace(built.air, ambient_temperature_k=differs[TEMPERATURE])
    load = _warmed(built.load, warmer_k)
    larger = 1.0 + differs.get(LOAD, 0.0)
    load = replace(load, volume_m3=larger * load.volume_m3)
    stronger = 1.0 + differs.get(SUPPLY, 0.0)
    supply = _supplied(built.supply, stronger, air, warmer_k)
    wider = 1.0 + differs.get(HYSTERESIS, 0.0)
    if isinstance(built, DirectPlant):
        valve = replace(built.valve, hysteresis=wider * built.valve.hysteresis)
        return replace(built, air=air, supply=supply, load=load, valve=valve)
    pilot = built.pilot
    if isinstance(pilot, PilotVolume):
        pilot = replace(pilot, chamber=_warmed(pilot.chamber, warmer_k))
    return replace(
        built,
        air=air,
        supply=supply,
        pilot=pilot,
        booster=replace(built.booster, hysteresis=wider * built.booster.hysteresis),
        outlet=_warmed(built.outlet, warmer_k),
        load=load,
    )


def _warmed(volume: Volume, warmer_k: float) -> Volume:
    """Warm a volume's wall; without one of its own it has the ambient's."""
    if volume.wall_temperature_k is None:
        return volume
    return replace(volume, wall_temperature_k=volume.wall_temperature_k + warmer_k)


def _supplied(supply: Supply, stronger: float, air: Air, warmer_k: float) -> Supply:
    """Scale the gauge pressures of a supply, script and all."""

    def scaled(pressure_pa: float) -> float:
        return air.atmosphere_pa + stronger * (pressure_pa - air.atmosphere_pa)

    volume = supply.volume
    if volume is not None:
        start_pa = scaled(volume.start_pressure_pa)
        volume = replace(_warmed(volume, warmer_k), start_pressure_pa=start_pa)
    return replace(
        supply,
        pressure_pa=scaled(supply.pressure_pa),
        changes=tuple((time_s, scaled(p)) for time_s, p in supply.changes),
        volume=volume,
    )
