"""The sequences of a full acceptance, in the order of their weight."""

from host_sim.accept.bench import Sequence
from host_sim.accept.sequence_frequency import FrequencySequence
from host_sim.accept.sequence_resolution import ResolutionSequence
from host_sim.accept.sequence_rest import (
    FlowSequence,
    LeakageSequence,
    LongRunSequence,
    SupplySequence,
)
from host_sim.accept.sequence_restart import RestartSequence
from host_sim.accept.sequence_static import StaticSequence
from host_sim.accept.sequence_steps import StepSequence
from host_sim.plant.settings import DirectPlant
from host_sim.scenario.load import Scenario

FLOW_SHARES = (0.05, 0.1, 0.2)
"""Flows tried, as shares of what the open valve would pass when choked."""


def plan(scenario: Scenario) -> list[Sequence]:
    """List all sequences for a scenario.

    Parameters
    ----------
    scenario : Scenario
        Sets the flows: shares of ``C rho_0 p`` with the smaller conductance of
        fill and exhaust and the middle of the pressure range.

    Returns
    -------
    list of Sequence

    Notes
    -----
    Source: list of tests after ISO 10094-2, IEC 61298-2 and ISA-51.1, from
    memory; the standards were not opened. Levels and times are our own choice.
    """
    return [
        StaticSequence(),
        StepSequence(),
        FrequencySequence(),
        ResolutionSequence(),
        SupplySequence(),
        LongRunSequence(),
        RestartSequence(),
        FlowSequence(tuple(share * _choked_kg_s(scenario) for share in FLOW_SHARES)),
        LeakageSequence(),
    ]


def _choked_kg_s(scenario: Scenario) -> float:
    """Flow of the smaller of fill and exhaust, choked from the range's middle."""
    arrangement = scenario.plant.arrangement
    valve = (
        arrangement.valve
        if isinstance(arrangement, DirectPlant)
        else arrangement.booster
    )
    conductance = min(valve.fill.conductance_m3_s_pa, valve.exhaust.conductance_m3_s_pa)
    middle_pa = sum(scenario.pressure_range_pa) / 2.0
    return conductance * arrangement.air.reference_density_kg_m3 * middle_pa
