"""The physical states of a plant, for rest and small movements about it."""

import math

import numpy as np
import numpy.typing as npt

from host_sim.plant import layout
from host_sim.plant.arrangement import rates_of
from host_sim.plant.body import Body, make_body
from host_sim.plant.exponential import lag_rates
from host_sim.plant.settings import PlantSettings

FloatArray = npt.NDArray[np.float64]


class SmallModel:
    """The physical states of a plant without play and ripple."""

    def __init__(
        self, settings: PlantSettings, source_pa: float, consumption_kg_s: float
    ) -> None:
        self.body: Body = make_body(settings, 1, 1.0, source_pa, consumption_kg_s)
        params = self.body.params
        params[layout.HALF_PLAY] = params[layout.RIPPLE_PA] = 0.0
        self.is_chain = len(self.body.state) == layout.CHAIN_STATES
        self.pilot_is_lag = self.is_chain and params[layout.PILOT_IS_LAG] > 0.0
        self.volumes = {"load": (layout.LOAD, layout.LOAD_VOLUME)}
        if params[layout.HAS_SUPPLY_VOLUME] > 0.0:
            self.volumes["supply"] = (layout.SUPPLY, layout.SUPPLY_VOLUME)
        if self.is_chain:
            self.volumes["outlet"] = (layout.OUTLET, layout.OUTLET_VOLUME)
            if not self.pilot_is_lag:
                self.volumes["pilot"] = (layout.PILOT, layout.PILOT_VOLUME)
        self.slots = self._slots()
        per_lag = lag_rates(params, len(self.body.state))
        self._decays = [per_lag[slot] for slot in self.slots.values()]

    def _slots(self) -> dict[str, int]:
        params, slots = self.body.params, {}
        if params[layout.LAG_RATE] > 0.0:
            slots["opening"] = layout.POSITION
        if self.pilot_is_lag and params[layout.PILOT_RATE] > 0.0:
            slots["pilot_pa"] = layout.PILOT
        for name, (node, block) in self.volumes.items():
            slots[f"{name}_kg"] = node
            if params[block + layout.BALANCES] > 0.0:
                slots[f"{name}_j"] = node + 1
        if params[layout.SENSED_RATE] > 0.0:
            slots["sensed_pa"] = layout.SENSED
        return slots

    def evaluate(self, states: FloatArray, inputs: FloatArray) -> FloatArray:
        """Rates of the states; load, sensed [Pa]; opening, its wish [-]."""
        body = self.body
        for slot, entry in zip(self.slots.values(), states, strict=True):
            body.state[slot] = float(entry)
        body.inputs[:] = inputs.tolist()
        body.refresh()
        rates_of(body.inputs, body.params, body.view, body.rates)
        moved = zip(self.slots.values(), self._decays, strict=True)
        shown = (layout.LOAD, layout.SENSED, layout.POSITION, layout.PLAY)
        return np.array(
            [body.rates[slot] - decay * body.state[slot] for slot, decay in moved]
            + [body.view[slot] for slot in shown]
        )

    def fill(self, name: str, pressure_pa: float) -> None:
        """Bring a volume to a pressure along its own polytrope."""
        node, block = self.volumes[name]
        state, params = self.body.state, self.body.params
        start_kg, start_k = params[block + layout.START_KG : block + layout.START_K + 1]
        start_pa = start_kg * start_k * params[block + layout.PA_PER_KG_K]
        exponent = 1.0 + params[block + layout.EXPONENT_LESS_1]
        state[node] = start_kg * math.pow(pressure_pa / start_pa, 1.0 / exponent)
        state[node + 1] = state[node] * params[layout.CV] * start_k

    @property
    def sealed(self) -> bool:
        """Whether nothing leaves the load, so that it rests at any pressure."""
        consumption_kg_s = self.body.inputs[layout.CONSUMPTION]
        return self.body.params[layout.BLEED] == 0.0 and consumption_kg_s == 0.0

    def free(self) -> list[int]:
        """List the indices of the states that a solver may move.

        A sealed load stays as it is, and so does what stands still with it.
        """
        moving = ("pilot", "supply")
        return [
            index
            for index, name in enumerate(self.slots)
            if not self.sealed or name.startswith(moving)
        ]

    def wish(self, opening: float) -> float:
        """Pressure difference over full opening that opens a booster so far."""
        band = self.body.params[layout.DEAD_BAND] if self.is_chain else 0.0
        return band + (1.0 - band) * opening

    def start(self, load_pa: float, wish: float, opening: float, drive: float) -> None:
        """Put every pressure at the load's, but for the pilot and the supply."""
        body, params = self.body, self.body.params
        for name in self.volumes:
            at_source = name == "supply"
            self.fill(name, body.inputs[layout.SOURCE_PA] if at_source else load_pa)
        body.state[layout.POSITION] = opening
        body.inputs[layout.DRIVE] = drive
        body.state[layout.SENSED] = load_pa
        if not self.is_chain:
            return
        pilot_pa = load_pa + wish * params[layout.FULL_OPENING_PA]
        if not self.pilot_is_lag:
            self.fill("pilot", pilot_pa)
            return
        body.state[layout.PILOT] = pilot_pa
        low_pa = params[layout.PILOT_LOW_PA]
        share = (pilot_pa - low_pa) / (params[layout.PILOT_HIGH_PA] - low_pa)
        body.inputs[layout.DRIVE] = min(max(share, 0.0), 1.0)

    def states(self) -> FloatArray:
        """Return the physical states now."""
        return np.array([self.body.state[slot] for slot in self.slots.values()])

    def sizes(self) -> FloatArray:
        """Return the size of each state; of an opening, the full stroke."""
        slots = self.slots.values()
        states = zip(slots, self.states(), strict=True)
        return np.array([1.0 if s == layout.POSITION else abs(x) for s, x in states])
