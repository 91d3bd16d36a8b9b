"""What the law is told, in physical units and fractions of span.

One signal unit is 1.0 = 100 % of the pressure range (for set point and
pressure) or of full drive (for outputs). Nothing here is rounded: `quantise`
turns it into the board's integers, `reference` runs it in float64.
"""

from dataclasses import dataclass, field
from typing import Literal, Self

INFINITE = float("inf")


@dataclass(frozen=True)
class Gains:
    """PID gains in parallel form: output fraction per pressure fraction.

    ``u = kp e + ki_per_s * integral(e) + kd_s * derivative(-pressure)``.
    """

    kp: float
    ki_per_s: float = 0.0
    kd_s: float = 0.0

    @classmethod
    def from_ideal(cls, kc: float, ti_s: float = INFINITE, td_s: float = 0.0) -> Self:
        """Gains from the ideal form ``kc (e + integral(e)/ti + td de/dt)``.

        >>> Gains.from_ideal(2.0, ti_s=4.0, td_s=0.5)
        Gains(kp=2.0, ki_per_s=0.5, kd_s=1.0)
        """
        return cls(kc, kc / ti_s, kc * td_s)

    @property
    def ti_s(self) -> float:
        """Integral time ``kp / ki`` [s]; infinite without integral action."""
        return self.kp / self.ki_per_s if self.ki_per_s else INFINITE

    @property
    def td_s(self) -> float:
        """Derivative time ``kd / kp`` [s]; zero without derivative action."""
        return self.kd_s / self.kp if self.kp else 0.0


@dataclass(frozen=True)
class Command:
    """The current loop: which current means which set point, and what fails.

    ``channel_ma`` is the converter's range (0 ... 32767 counts);
    ``start_ma`` asks for 0 % and ``end_ma`` for 100 %, so split range is
    another pair and ``reverse`` turns the result round. Currents at or beyond
    the fault limits for ``patience_s`` declare a fault. A set point below
    ``cutoff`` vents fully until it is above ``cutoff + cutoff_hysteresis``.
    """

    channel_ma: tuple[float, float] = (0.0, 25.0)
    start_ma: float = 4.0
    end_ma: float = 20.0
    reverse: bool = False
    low_fault_ma: float = 3.6
    high_fault_ma: float = 21.0
    patience_s: float = 4.0
    setpoint_low: float = 0.0
    setpoint_high: float = 1.0
    cutoff: float | None = None
    cutoff_hysteresis: float = 0.005
    ramp_up_per_s: float = INFINITE
    ramp_down_per_s: float = INFINITE

    def setpoint(self, current_ma: float) -> float:
        """Set point that a current asks for, as a fraction of the range.

        >>> Command().setpoint(12.0), Command(reverse=True).setpoint(8.0)
        (0.5, 0.75)
        """
        share = (current_ma - self.start_ma) / (self.end_ma - self.start_ma)
        share = 1.0 - share if self.reverse else share
        return min(max(share, self.setpoint_low), self.setpoint_high)


@dataclass(frozen=True)
class Measurement:
    """The pressure sensor: what its counts mean, filter, and what fails.

    ``channel`` is the pressure at 0 and at 32767 counts, as fractions of the
    pressure range. Counts outside ``valid`` (fractions of the converter) for
    ``patience_s`` declare a fault.
    """

    channel: tuple[float, float] = (0.0, 1.0)
    filter_s: float = 0.0
    valid: tuple[float, float] = (0.0, 1.0)
    patience_s: float = 0.1


@dataclass(frozen=True)
class SupplyCompensation:
    """The measured supply, and how strongly it corrects the output.

    Pressures are absolute, as fractions of the reference supply pressure:
    ``channel`` at 0 and 32767 counts, ``zero`` and ``span`` of the controlled
    range, ``lost`` below which the supply counts as lost. ``strength`` 0 is
    off, 1 restores the reference valve flow. ``flow`` is the filling valve's flow
    function (ISO 6358-1) at the ratios 0, 1/16 ... 1; between them the law
    interpolates linearly.
    """

    channel: tuple[float, float] = (0.0, 2.0)
    zero: float = 0.125
    span: float = 0.75
    strength: float = 0.0
    flow: tuple[float, ...] = (1.0,) * 17
    filter_s: float = 0.0
    valid: tuple[float, float] = (0.0, 1.0)
    lost: float = 0.0


@dataclass(frozen=True)
class Pid:
    """The controller proper.

    ``weight`` multiplies the set point in the proportional term.
    ``derivative_filter_s`` is the lag on the derivative, ``tracking_s`` the
    anti-windup time (infinite, or no integral action: none), ``conditional``
    stops the integrator from pushing further outward. Errors up to ``deadband``
    count as zero until they exceed ``deadband + deadband_hysteresis``; after
    ``dwell_s`` inside, the derivative comes to rest too. ``hold`` is the static
    feed-forward: (set point, output) points, interpolated linearly.
    """

    gains: Gains = field(default_factory=lambda: Gains(1.0))
    weight: float = 1.0
    derivative_filter_s: float = 0.0
    tracking_s: float = INFINITE
    conditional: bool = False
    deadband: float = 0.0
    deadband_hysteresis: float = 0.0
    dwell_s: float = 0.1
    hold: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class Output:
    """Limits of the output, and where it goes when something has failed."""

    low: float = -1.0
    high: float = 1.0
    rise_per_s: float = INFINITE
    fall_per_s: float = INFINITE
    safe_action: Literal["vent", "hold", "fixed"] = "vent"
    safe_output: float = 0.0


@dataclass(frozen=True)
class ProportionalDrive:
    """The output as it is, with a square dither on top."""

    dither: float = 0.0
    dither_half_period_s: float = INFINITE


@dataclass(frozen=True)
class ValvePairDrive:
    """A fill and an exhaust on/off valve, pulsed to the same average.

    A pulse lasts at least ``minimum_on_s``; between pulses of different valves
    both stay shut for ``dead_time_s``.
    """

    minimum_on_s: float = 0.0
    dead_time_s: float = 0.0


@dataclass(frozen=True)
class LawSettings:
    """All that the law is told; ``tick_s`` is the sampling time."""

    tick_s: float
    command: Command = Command()
    measurement: Measurement = Measurement()
    supply: SupplyCompensation = SupplyCompensation()
    pid: Pid = field(default_factory=Pid)
    output: Output = Output()
    drive: ProportionalDrive | ValvePairDrive = ProportionalDrive()
