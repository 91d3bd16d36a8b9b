"""The sampled loop in time: how it moves for small changes, tick by tick.

The same loop as in `frequency`: linear plant, held drive, exact delays, the law
without limit, dead band or rounding.
"""

from dataclasses import dataclass

import numpy as np

from host_sim.errors import InputError
from host_sim.law.settings import LawSettings
from host_sim.measure.frequency import HeldPlant, hold, reading_over_pa
from host_sim.measure.margins import FloatArray
from host_sim.plant.linear import LinearPlant
from host_sim.plant.settings import Channel

MOST_DELAY_TICKS = 1_000


@dataclass(frozen=True)
class LinearLoop:
    """``x+ = M x + N (setpoint, load)``, ``(pressure, output) = C x + D (...)``.

    ``load`` is added to the drive. Set point, pressure and output are fractions
    of range and of full drive, as changes from rest; the pressure is the law's
    reading before its filter.
    """

    tick_s: float
    move: FloatArray
    enter: FloatArray
    show: FloatArray
    show_input: FloatArray

    @property
    def radius(self) -> float:
        """Largest pole of the loop; below 1 it is stable."""
        return float(np.abs(np.linalg.eigvals(self.move)).max())

    def run(
        self, setpoint: FloatArray, load: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Run the loop from rest; return pressure and output at every tick."""
        state = np.zeros(len(self.move))
        inputs = np.column_stack([setpoint, load])
        shown = np.empty((len(inputs), 2))
        # An unstable loop leaves all bounds, which its numbers may show.
        with np.errstate(over="ignore", invalid="ignore"):
            for k, entering in enumerate(inputs):
                shown[k] = self.show @ state + self.show_input @ entering
                state = self.move @ state + self.enter @ entering
        return shown[:, 0], shown[:, 1]


def linear_loop(
    plant: LinearPlant,
    channel: Channel,
    law: LawSettings,
    compute_delay_ticks: int = 0,
) -> LinearLoop:
    """Write one tick of the loop as matrices; parameters as `open_loop`.

    Returns
    -------
    LinearLoop

    Raises
    ------
    InputError
        A transport delay of more than 1000 ticks, each of which is a state.

    Notes
    -----
    Source: the equations of `host_sim.law.reference`, and of `hold`.
    """
    held = hold(plant, law.tick_s, channel.delay_s)
    if held.whole_ticks > MOST_DELAY_TICKS:
        raise InputError(
            f"delay {channel.delay_s:g} s: {held.whole_ticks} ticks of {law.tick_s:g} "
            f"s, at most {MOST_DELAY_TICKS} here; choose a longer tick"
        )
    per_pa = reading_over_pa(channel, law)
    count = len(held.gamma) + held.whole_ticks + compute_delay_ticks + 3
    # A linear map is what it makes of each unit vector.
    units = np.eye(count + 2)
    moved, shown = _tick(held, per_pa, law, units[:count], units[count:])
    return LinearLoop(
        tick_s=law.tick_s,
        move=moved[:, :count],
        enter=moved[:, count:],
        show=shown[:, :count],
        show_input=shown[:, count:],
    )


def _tick(
    held: HeldPlant,
    per_pa: float,
    law: LawSettings,
    state: FloatArray,
    entering: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Move columns of states by a tick; return them, and pressure with output."""
    ends = np.cumsum([len(held.gamma), held.whole_ticks])
    plant, sensed, rest = np.split(state, ends)
    drives, words = rest[:-3], rest[-3:]
    setpoint, load = entering
    # A plant without delay shows nothing yet of the drive that is to come.
    shown = per_pa * (held.shown @ plant)
    pressure = sensed[0] if held.whole_ticks else shown
    output, words = _law(law, words, setpoint, pressure)
    drives = np.vstack([drives, output])
    drive = drives[0] + load
    sensed = np.vstack([sensed, shown + per_pa * held.direct * drive])
    plant = held.phi @ plant + np.outer(held.gamma, drive)
    moved = np.vstack([plant, sensed[1:], drives[1:], words])
    return moved, np.vstack([pressure, output])


def _law(
    law: LawSettings, words: FloatArray, setpoint: FloatArray, pressure: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the output and the words: filtered pressure, washout, integral."""
    pid, h = law.pid, law.tick_s
    filtered, washout, integral = words
    lag_s = pid.derivative_filter_s
    moved = h / (law.measurement.filter_s + h) * (pressure - filtered)
    filtered, washout = filtered + moved, lag_s / (lag_s + h) * washout + moved
    output = pid.gains.kp * (pid.weight * setpoint - filtered) + integral
    output -= pid.gains.kd_s / (lag_s + h) * washout
    integral = integral + pid.gains.ki_per_s * h * (setpoint - filtered)
    return output, np.vstack([filtered, washout, integral])
