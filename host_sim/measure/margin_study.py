"""The margins of a scenario's loop at several operating points."""

import math
from dataclasses import asdict, dataclass
from typing import Any, Literal

import numpy as np

from host_sim.errors import InputError
from host_sim.law.quantise import quantise
from host_sim.law.read_back import read_back
from host_sim.law.settings import LawSettings
from host_sim.measure.frequency import open_loop
from host_sim.measure.margins import Margins, Response
from host_sim.plant import layout
from host_sim.plant.linear import LinearPlant, linearise
from host_sim.plant.operating_point import OperatingPoint, Side, operating_point
from host_sim.scenario.load import Scenario

WORTH_A_WORD = 2.0
"""Ms above which a loop is said to have little reserve."""
NEARLY_SHUT = 0.02
"""Opening below which the kink at zero flow is said to be near."""
LINEAR = (
    "for small movements about rest at each point: play counts as closed, and no "
    "dead band, deadband, limit or rounding is passed; larger steps may ring more "
    "or less, so look at them with 'step'"
)


@dataclass(frozen=True)
class PointMargins:
    """The loop at one operating point.

    ``side`` says which way the pressure moves there, where filling and venting
    differ. ``loop_gain`` serves figures.
    """

    share: float
    side: Side | Literal["both"]
    point: OperatingPoint
    plant: LinearPlant
    loop_gain: Response
    margins: Margins

    @property
    def opening(self) -> float:
        """Opening of the valve or booster at rest [-]."""
        return self.point.state[layout.POSITION]

    @property
    def name(self) -> str:
        """Operating point for tables and figures."""
        side = "" if self.side == "both" else f", {self.side}"
        return f"{100 * self.share:g} %{side}"


@dataclass(frozen=True)
class MarginStudy:
    """A scenario's margins; ``law`` has the gains as the board keeps them."""

    scenario: Scenario
    law: LawSettings
    consumption_kg_s: float
    points: tuple[PointMargins, ...]
    notes: tuple[str, ...]

    @property
    def worst(self) -> PointMargins:
        """The point with the largest Ms, an unstable one before all others."""
        return max(self.points, key=lambda p: (not p.margins.stable, p.margins.ms))


def consumption_at_start(scenario: Scenario) -> float:
    """Find the consumption that the scenario's script begins with [kg/s]."""
    changes = scenario.plant.arrangement.consumption.changes
    begun = [flow_kg_s for time_s, flow_kg_s in changes if time_s <= 0.0]
    return begun[-1] if begun else 0.0


def linear_plants(
    scenario: Scenario, share: float
) -> list[tuple[Side | Literal["both"], OperatingPoint, LinearPlant]]:
    """Linearise a scenario's plant at a share of its pressure range.

    Source pressure and consumption are those that the scenario begins with.

    Parameters
    ----------
    scenario : Scenario
    share : float
        Operating point, 0 ... 1 of the range.

    Returns
    -------
    list of (str, OperatingPoint, LinearPlant)
        One, for both ways; two where filling and venting differ.

    Raises
    ------
    InputError
        The share is outside the range, or the plant cannot rest there.
    """
    if not 0.0 <= share <= 1.0:
        raise InputError(
            f"operating point {100 * share:g} %: must be 0 ... 100 % of the range"
        )
    sides: tuple[Side, Side] = ("fill", "vent")
    points = [_rest(scenario, share, side) for side in sides]
    fill, vent = (linearise(point) for point in points)
    if _alike(fill, vent):
        return [("both", points[0], fill)]
    return list(zip(sides, points, (fill, vent), strict=True))


def _rest(scenario: Scenario, share: float, side: Side) -> OperatingPoint:
    low_pa, high_pa = scenario.pressure_range_pa
    try:
        return operating_point(
            scenario.plant,
            low_pa + share * (high_pa - low_pa),
            consumption_kg_s=consumption_at_start(scenario),
            side=side,
        )
    except InputError as refusal:
        raise InputError(f"operating point {100 * share:g} %: {refusal}") from None


def _alike(first: LinearPlant, second: LinearPlant) -> bool:
    """Tell whether two linearisations differ by no more than their errors."""
    allowed = max(1e-6, first.error, second.error)
    parts = ((first.a, second.a), (first.b, second.b))
    return all(np.allclose(x, y, rtol=allowed, atol=0.0) for x, y in parts)


def margin_study(scenario: Scenario, shares: list[float]) -> MarginStudy:
    """Measure the margins of a scenario's loop at operating points.

    Parameters
    ----------
    scenario : Scenario
    shares : list of float
        Operating points, 0 ... 1 of the pressure range.

    Returns
    -------
    MarginStudy

    Raises
    ------
    InputError
        A gain that the board cannot keep, or a point where the plant cannot rest.
    """
    law = read_back(quantise(scenario.law))
    channel = scenario.plant.sensing.pressure
    points = []
    for share in shares:
        for side, point, plant in linear_plants(scenario, share):
            loop = open_loop(plant, channel, law, scenario.compute_delay_ticks)
            gain, margins = loop.gain(law), loop.margins(law)
            points.append(PointMargins(share, side, point, plant, gain, margins))
    consumption_kg_s = consumption_at_start(scenario)
    return MarginStudy(
        scenario, law, consumption_kg_s, tuple(points), tuple(_notes(points))
    )


def _notes(points: list[PointMargins]) -> list[str]:
    sided = [point for point in points if point.side != "both"]
    notes = [LINEAR]
    if sided:
        text = "nothing flows at rest, so filling and venting have a row each"
        notes.append(_where(points, sided, text))
    kinks = [_kinks(point) for point in points]
    for text in dict.fromkeys(note for each in kinks for note in each):
        named = [p for p, each in zip(points, kinks, strict=True) if text in each]
        notes.append(_where(points, named, text))
    unstable = [point for point in points if not point.margins.stable]
    tight = [p for p in points if p.margins.stable and p.margins.ms > WORTH_A_WORD]
    nearly_shut = [
        point
        for point in points
        if point.side == "both" and abs(point.opening) < NEARLY_SHUT
    ]
    if nearly_shut:
        widest = max(abs(point.opening) for point in nearly_shut)
        text = (
            f"at most {100 * widest:.2g} % open at rest: larger movements reach the "
            "dead band or the other flow path, where the gain differs"
        )
        notes.append(_where(points, nearly_shut, text))
    if unstable:
        notes.append(_where(points, unstable, "UNSTABLE; lower the gains"))
    if tight:
        ms = max(point.margins.ms for point in tight)
        text = (
            f"Ms up to {ms:.2f} leaves little reserve (1.2 ... 2 is common practice, "
            "no source); lower the gains or the delays"
        )
        notes.append(_where(points, tight, text))
    return notes


def _kinks(point: PointMargins) -> list[str]:
    """List how the plant was linearised, but for what the row's name says."""
    said = f"slope of the {point.side} side"
    return [note for note in point.plant.notes if not note.endswith(said)]


def _where(all_points: list[PointMargins], some: list[PointMargins], text: str) -> str:
    if len(some) == len(all_points):
        return text
    return f"at {'; '.join(point.name for point in some)}: {text}"


def margins_as_dict(margins: Margins) -> dict[str, Any]:
    """Turn margins into plain numbers, units in the keys."""
    return {**asdict(margins), "gain_margin_db": decibels(margins.gain_margin)}


def decibels(factor: float) -> float:
    """Write a factor in decibels.

    >>> decibels(2.0)
    6.0206
    """
    return 20.0 * math.log10(factor)


def margin_study_as_dict(study: MarginStudy) -> dict[str, Any]:
    """Turn a study into plain numbers and words, units in the keys."""
    gains = study.law.pid.gains
    return {
        "title": study.scenario.title,
        "tick_s": study.law.tick_s,
        "compute_delay_ticks": study.scenario.compute_delay_ticks,
        "transport_delay_s": study.scenario.plant.sensing.pressure.delay_s,
        "pressure_filter_s": study.law.measurement.filter_s,
        "derivative_filter_s": study.law.pid.derivative_filter_s,
        "gains_as_kept": asdict(gains),
        "consumption_kg_s": study.consumption_kg_s,
        "points": [
            {
                "at_percent": 100 * point.share,
                "side": point.side,
                "load_pa": point.point.load_pa,
                "drive_percent": 100 * point.point.drive,
                **margins_as_dict(point.margins),
            }
            for point in study.points
        ],
        "notes": study.notes,
    }
