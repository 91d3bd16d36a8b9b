"""A plant with its sensors, advanced tick by tick."""

import math
from dataclasses import dataclass

from host_sim.errors import InputError
from host_sim.plant import layout
from host_sim.plant.body import make_body
from host_sim.plant.channel import Converter, delayed
from host_sim.plant.integrate import advance_tick
from host_sim.plant.settings import DirectPlant, PilotLag, PlantSettings
from host_sim.plant.stiffness import delay_substeps, ladder, time_constants

NAN = float("nan")

MOST_SUBSTEPS = 16_384
"""Beyond, a run would take longer than anybody waits."""

EARLY_TICKS = 1e-9
"""Share of a tick by which a scripted time may lie past a tick it belongs to.

A script's 0.3 s is tick 3 of 0.1 s, whatever the binary fractions say.
"""


@dataclass(frozen=True)
class Nodes:
    """One quantity at each place of a plant; NaN where there is no such place.

    Arrangement A has no tube: its outlet is the load.
    """

    load: float
    outlet: float
    supply: float
    pilot: float


@dataclass(frozen=True)
class MassBalance:
    """Where the air went since the start [kg].

    ``drawn`` came from the source (net), ``released`` left to atmosphere and
    consumers (net), ``stored`` is in the volumes now, ``stored_at_start`` was.
    """

    drawn_kg: float
    released_kg: float
    stored_kg: float
    stored_at_start_kg: float

    @property
    def error_kg(self) -> float:
        """Air that appeared from nowhere: rounding alone [kg]."""
        gained_kg = self.stored_kg - self.stored_at_start_kg
        return gained_kg - (self.drawn_kg - self.released_kg)


def scripted(
    changes: tuple[tuple[float, float], ...], tick_s: float
) -> dict[int, float]:
    """Map each tick that changes a scripted quantity to its new value."""
    return {
        max(math.ceil(time_s / tick_s - EARLY_TICKS), 0): scripted
        for time_s, scripted in sorted(changes)
    }


class Plant:
    """A plant that a drive moves, one tick after another.

    Parameters
    ----------
    settings : PlantSettings
        The arrangement and its sensors.
    tick_s : float
        Length of a tick [s].
    substeps_factor : int
        Takes so many times the substeps that the plant asks for, to see what they
        leave out.

    Attributes
    ----------
    tick : int
        Ticks since the start.
    tick_s : float
        Length of a tick [s].
    body : Body
        The arrays that the kernels work on.
    substeps : int
        Runge-Kutta steps in a tick.
    step_s : float
        Length of each [s].
    fastest_name : str
        The part that asks for the shortest substep, in words.
    fastest_time_constant_s : float
        A bound on the speed of that part [s].

    Raises
    ------
    InputError
        When the tick is not positive, or the supply has a line without a volume
        or a volume without a line.
    """

    def __init__(
        self, settings: PlantSettings, tick_s: float, substeps_factor: int = 1
    ) -> None:
        if not 0.0 < tick_s < math.inf:
            raise InputError(f"tick_s: {tick_s} s is not a time above 0 s")
        arrangement, sensing = settings.arrangement, settings.sensing
        self.tick = 0
        self.tick_s = tick_s
        fastest = time_constants(settings)[0]
        self.fastest_name = fastest.part
        self.fastest_time_constant_s = fastest.seconds
        needed = tick_s / fastest.longest_step_s
        if needed > MOST_SUBSTEPS:
            raise InputError(
                f"{self.fastest_name}, {self.fastest_time_constant_s:.3g} s, asks for "
                f"{needed:.0f} substeps a tick, more than {MOST_SUBSTEPS}; make it "
                "larger, join it to its neighbour, or choose a shorter tick"
            )
        least = max(needed, delay_substeps(sensing, tick_s))
        self.substeps = ladder(least) * substeps_factor
        self.step_s = tick_s / self.substeps
        self.is_direct = isinstance(arrangement, DirectPlant)
        supply, consumption = arrangement.supply, arrangement.consumption
        self._source_script = scripted(supply.changes, tick_s)
        self._consumption_script = scripted(consumption.changes, tick_s)
        self.body = make_body(
            settings,
            self.substeps,
            self.step_s,
            self._source_script.get(0, supply.pressure_pa),
            self._consumption_script.get(0, 0.0),
        )
        self._volumes = self._volume_nodes(settings)
        self._stored_at_start_kg = self._stored_kg()

        self._converter = Converter(sensing.pressure, tick_s, (sensing.seed, 0))
        self._supply_converter = Converter(sensing.supply, tick_s, (sensing.seed, 1))
        self._delay_steps = sensing.pressure.delay_s / self.step_s
        self._supply_delay_steps = sensing.supply.delay_s / self.step_s

    @staticmethod
    def _volume_nodes(settings: PlantSettings) -> list[int]:
        arrangement = settings.arrangement
        nodes = [layout.LOAD]
        if arrangement.supply.volume is not None:
            nodes.append(layout.SUPPLY)
        if not isinstance(arrangement, DirectPlant):
            nodes.append(layout.OUTLET)
            if not isinstance(arrangement.pilot, PilotLag):
                nodes.append(layout.PILOT)
        return nodes

    @property
    def time_s(self) -> float:
        """Time since the start [s]."""
        return self.tick * self.tick_s

    def sense(self) -> tuple[float, float]:
        """Read both sensors; call once a tick, before `advance`.

        Returns
        -------
        pressure_counts, supply_counts : float
            0 ... 32767; whole numbers unless the converter is ideal [counts].
        """
        body = self.body
        arriving_pa = delayed(body.line, body.heads[0], self._delay_steps)
        supply_pa = delayed(body.supply_line, body.heads[1], self._supply_delay_steps)
        return (
            self._converter.counts(arriving_pa),
            self._supply_converter.counts(supply_pa),
        )

    def advance(self, drive: float) -> None:
        """Advance by one tick with the drive held.

        Scripted changes of supply and consumption act on tick boundaries: once
        this returns, the plant shows those of the coming tick.

        Parameters
        ----------
        drive : float
            Signed drive, -1 ... 1; beyond, it acts as the nearer end [-].

        Raises
        ------
        InputError
            When the drive or a state is not a finite number.
        """
        began_s = self.time_s
        if not math.isfinite(drive):
            raise InputError(f"drive: {drive} at t = {began_s:g} s is not a number")
        inputs, coming = self.body.inputs, self.tick + 1
        try:
            advance_tick(
                began_s,
                min(max(drive, -1.0), 1.0),
                self._source_script.get(coming, inputs[layout.SOURCE_PA]),
                self._consumption_script.get(coming, inputs[layout.CONSUMPTION]),
                *self.body.arguments(),
            )
        except (ValueError, ArithmeticError) as error:
            raise self.out_of_range(began_s) from error
        self.tick = coming
        if not math.isfinite(math.fsum(self.body.state)):
            raise self.out_of_range(began_s)

    def out_of_range(self, began_s: float) -> InputError:
        """Say that no plant is like that, found in the tick at a time."""
        return InputError(
            f"the plant left the physical range at t = {began_s:g} s; look for "
            "parameters or scripted pressures that no plant has (its fastest part, "
            f"{self.fastest_name}, has {self.fastest_time_constant_s:.3g} s)"
        )

    def _nodes(self, offset: int) -> Nodes:
        view = self.body.view
        load = view[layout.LOAD + offset]
        supply = view[layout.SUPPLY + offset]
        if self.is_direct:
            return Nodes(load, load, supply, NAN)
        outlet = view[layout.OUTLET + offset]
        return Nodes(load, outlet, supply, view[layout.PILOT + offset])

    def pressures_pa(self) -> Nodes:
        """Absolute pressures now [Pa]."""
        return self._nodes(0)

    def temperatures_k(self) -> Nodes:
        """Air temperatures now [K]; a `PilotLag` has the ambient one."""
        return self._nodes(1)

    @property
    def opening(self) -> float:
        """Opening of the valve or booster now, -1 ... 1 [-]."""
        return self.body.view[layout.POSITION]

    @property
    def air_used_kg(self) -> float:
        """Air drawn from the source since the start, net [kg]."""
        return -self.body.state[layout.SOURCE]

    def _stored_kg(self) -> float:
        return sum(self.body.state[node] for node in self._volumes)

    def mass_balance(self) -> MassBalance:
        """Account of all air since the start."""
        return MassBalance(
            drawn_kg=self.air_used_kg,
            released_kg=self.body.state[layout.ATMOSPHERE],
            stored_kg=self._stored_kg(),
            stored_at_start_kg=self._stored_at_start_kg,
        )
