"""What acceptance drives: a device on a plant, one tick after another."""

from typing import NamedTuple, Protocol, runtime_checkable

NO_METER = float("nan")


class Sample(NamedTuple):
    """What a rig shows of one tick, at its start.

    ``pressure_pa`` and ``supply_pa`` are absolute, as a reference gauge reads
    them; ``drive`` is -1 ... 1, ``faults`` names the device's own; the air
    drawn from the supply since the start is `NO_METER` without a meter [kg].
    """

    pressure_pa: float
    drive: float
    faults: tuple[str, ...]
    supply_pa: float
    air_used_kg: float = NO_METER


class Rig(Protocol):
    """A device on its plant: the model, an engine, a board, a bench."""

    @property
    def tick_s(self) -> float:
        """Length of a tick [s]."""

    def tick(self, current_ma: float) -> Sample:
        """Hold a current for one tick; show what stood at its start."""


@runtime_checkable
class SuppliedRig(Protocol):
    """A rig whose supply pressure can be set."""

    @property
    def supply_set_pa(self) -> float:
        """Supply pressure as set, absolute [Pa]."""

    def set_supply(self, pressure_pa: float) -> None:
        """Set the supply pressure, absolute [Pa]."""


@runtime_checkable
class FlowingRig(Protocol):
    """A rig that can draw air from the load, or feed air into it."""

    def set_flow(self, flow_kg_s: float) -> None:
        """Draw so much besides what the plant draws; below 0 feed [kg/s]."""


@runtime_checkable
class PoweredRig(Protocol):
    """A rig whose device can be started anew, warm, or by its power."""

    def restart(self) -> None:
        """Start the device again as after a short dip of its power."""

    def set_power(self, *, on: bool) -> None:
        """Cut or return the device's power; its drive is 0 without."""
