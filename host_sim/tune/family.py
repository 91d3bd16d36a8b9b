"""The machines that one tuning must serve."""

from dataclasses import dataclass, replace

from host_sim.campaign.space import Axis, Space, Uniform, noise_seed
from host_sim.errors import InputError
from host_sim.measure.answer import find_steps
from host_sim.measure.margin_study import linear_plants
from host_sim.plant.settings import Air, DirectPlant, PlantSettings, Supply
from host_sim.scenario.load import Scenario


@dataclass(frozen=True)
class Member:
    """One machine of a family, and how it differs from the scenario's own."""

    number: int
    scenario: Scenario
    differs: dict[str, float]

    def in_words(self) -> str:
        """Say how it differs.

        Returns
        -------
        str
            For people; temperatures in degC, all else in percent.
        """
        if not self.differs:
            return "the scenario's own machine"
        parts = [
            f"{1e2 * x:+.0f} % {name}"
            for name, x in self.differs.items()
            if name != "temperature"
        ]
        if "temperature" in self.differs:
            parts.append(f"at {self.differs['temperature'] - 273.15:.0f} degC")
        return f"machine {self.number}: {', '.join(parts)}"


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

    Raises
    ------
    InputError
        The weakest supply cannot hold the highest set point.

    >>> from host_sim.scenario.load import load_scenario, shipped_scenario_path
    >>> family = make_family(load_scenario(shipped_scenario_path()))
    >>> len(family), family[0].in_words()
    (200, "the scenario's own machine")
    """
    asked = scenario.family
    spreads = {
        "supply": asked.supply,
        "load volume": asked.load_volume,
        "sensor lag": asked.sensor_lag,
        "hysteresis": asked.hysteresis,
    }
    axes: dict[str, Axis] = {
        name: Uniform(-x, x) for name, x in spreads.items() if x > 0.0
    }
    axes["temperature"] = Uniform(asked.temperature_low_k, asked.temperature_high_k)
    rows = Space(axes, asked.members - 1, asked.seed).draw(0, asked.members - 1)
    members = [Member(0, scenario, {})]
    for number, row in enumerate(rows.tolist(), 1):
        differs = dict(zip(axes, row, strict=True))
        members.append(Member(number, _changed(scenario, differs, number), differs))
    _check_reach(min(members, key=lambda member: member.differs.get("supply", 0.0)))
    return members


def _changed(scenario: Scenario, differs: dict[str, float], number: int) -> Scenario:
    built, sensing = scenario.plant.arrangement, scenario.plant.sensing
    sensor = sensing.pressure
    air = replace(built.air, ambient_temperature_k=differs["temperature"])
    built = replace(
        built,
        air=air,
        supply=_supplied(built.supply, 1.0 + differs.get("supply", 0.0), air),
        load=replace(
            built.load,
            volume_m3=built.load.volume_m3 * (1.0 + differs.get("load volume", 0.0)),
        ),
    )
    share = 1.0 + differs.get("hysteresis", 0.0)
    if isinstance(built, DirectPlant):
        valve = replace(built.valve, hysteresis=share * built.valve.hysteresis)
        built = replace(built, valve=valve)
    else:
        booster = replace(built.booster, hysteresis=share * built.booster.hysteresis)
        built = replace(built, booster=booster)
    lag_s = sensor.lag_s * (1.0 + differs.get("sensor lag", 0.0))
    seen = replace(
        sensing,
        pressure=replace(sensor, lag_s=lag_s),
        seed=noise_seed(scenario.family.seed, number),
    )
    return replace(scenario, plant=PlantSettings(built, sensing=seen))


def _supplied(supply: Supply, share: float, air: Air) -> Supply:
    """Scale the gauge pressure of a supply, script and all."""

    def scaled(pressure_pa: float) -> float:
        return air.atmosphere_pa + share * (pressure_pa - air.atmosphere_pa)

    volume = supply.volume
    if volume is not None:
        start_pa = scaled(volume.start_pressure_pa)
        volume = replace(volume, start_pressure_pa=start_pa)
    return replace(
        supply,
        pressure_pa=scaled(supply.pressure_pa),
        changes=tuple((time_s, scaled(p)) for time_s, p in supply.changes),
        volume=volume,
    )


def _check_reach(member: Member) -> None:
    """Refuse a family of which the weakest supply cannot hold the set points."""
    scenario = member.scenario
    low_pa, high_pa = scenario.pressure_range_pa
    steps, _ = find_steps(scenario, scenario.ticks)
    if not steps:
        raise InputError(
            "profile: no step of 1 % that lasts 10 ticks to tune for; give the "
            "command one"
        )
    highest_pa = max(max(from_pa, to_pa) for _, from_pa, to_pa in steps)
    try:
        linear_plants(scenario, (highest_pa - low_pa) / (high_pa - low_pa))
    except InputError as reason:
        raise InputError(
            f"family.supply: {member.in_words()} cannot hold the highest set point, "
            f"{highest_pa / 1e5:.3g} bar absolute ({reason}); narrow the spread of the "
            "supply, raise the supply, or lower the set point"
        ) from None
