"""The law in float64, from its difference equations: what the board should do.

Written from the equations, not from the integer code. One signal unit is 1.0 =
100 %; ``h`` is the tick. With e the error after the deadband, r the set point,
y the pressure, u the limited output and v the request:

    P[k] = kp (e[k] - (1 - weight) r[k])
    D[k] = -kd/(tf + h) w[k],  w[k] = tf/(tf + h) w[k-1] + (y[k] - y[k-1])
    v[k] = P[k] + I[k] + D[k] + hold(r[k])
    I[k+1] = I[k] + ki h e[k] + h/tt (u[k] - v[k])

The limits of the board's words (terms to 400 %, request to 200 %, integral to
1200 %) belong to the law and are kept here.
"""

import math

import numpy as np

from host_sim.law.controller import FAULTS
from host_sim.law.settings import LawSettings, ProportionalDrive, ValvePairDrive

COUNTS = 32_767.0
SIGNAL_LOW, SIGNAL_HIGH = -0.05, 1.10
SPREAD = 1.15
TERM, REQUEST, INTEGRAL = 4.0, 2.0, 12.0
STOPPING = {"current", "pressure sensor", "supply lost"}


def _clip(number: float, low: float, high: float) -> float:
    return min(max(number, low), high)


class Suspicion:
    """A fault that needs patience: counts bad ticks up and good ones down."""

    def __init__(self, patience_s: float, tick_s: float) -> None:
        self.patience = max(1, round(patience_s / tick_s))
        self.count = 0
        self.fault = False

    def judge(self, bad: bool) -> None:
        """Take one tick's verdict into account."""
        if bad:
            self.count = min(self.count + 1, self.patience)
            self.fault = self.fault or self.count >= self.patience
        else:
            self.count = max(self.count - 1, 0)
            self.fault = self.fault and self.count > 0


class FloatController:
    """The reference law; same calls and attributes as `Controller`.

    Parameters
    ----------
    settings : LawSettings
        Used as they are, without quantisation.

    >>> law = FloatController(LawSettings(tick_s=0.01))
    >>> for _ in range(2):
    ...     drive = law.tick(0.48 * 32767, 8191.75, 16384)
    >>> round(law.setpoint, 9), round(law.pressure, 9), round(drive, 9)
    (0.5, 0.25, 0.25)
    """

    def __init__(self, settings: LawSettings) -> None:
        self.settings = settings
        h = settings.tick_s
        patience_s = settings.measurement.patience_s
        self.suspicions = {
            "current": Suspicion(settings.command.patience_s, h),
            "pressure sensor": Suspicion(patience_s, h),
            "supply sensor": Suspicion(patience_s, h),
            "supply lost": Suspicion(patience_s, h),
        }
        self.mode = "automatic"
        self.target = self.setpoint = self.pressure = self.supply = 0.0
        self.movement = 0.0
        self.cut = self.inside = False
        self.output = self.drive = 0.0
        self.reset()

    def reset(self) -> None:
        """Start again from the next measurement; the output stays."""
        for suspicion in self.suspicions.values():
            suspicion.count, suspicion.fault = 0, False
        self.fresh = True
        self.cut = self.inside = False
        self.target = self.setpoint = self.pressure = 0.0
        self.supply = self.compensation = 1.0
        self.error = self.movement = self.washout = 0.0
        self.proportional = self.derivative = self.integral = self.feedforward = 0.0
        self.request = self.wanted = 0.0
        self.active = "start"
        self.demand = self.output
        self.phase = 0
        self.charge, self.idle = 0.0, 0
        self.ticks_inside = 0
        self.drive = 0.0

    @property
    def faults(self) -> tuple[str, ...]:
        """Names of the present faults."""
        return tuple(name for name in FAULTS if self.suspicions[name].fault)

    def tick(
        self, current_counts: float, pressure_counts: float, supply_counts: float
    ) -> float:
        """Run one tick on converter counts (not rounded); return the drive."""
        self._read_current(current_counts / COUNTS)
        self._read_pressure(pressure_counts / COUNTS)
        self._read_supply(supply_counts / COUNTS)
        self._ramp()
        self._compensate()
        self._compare()
        self._add_terms()
        self._choose()
        self._limit()
        self._integrate()
        self._drive()
        if not self.suspicions["pressure sensor"].count:
            self.fresh = False
        return self.drive

    def _read_current(self, share: float) -> None:
        command = self.settings.command
        low, high = command.channel_ma
        current = _clip(low + (high - low) * share, 0.0, 25.0)
        bad = not command.low_fault_ma < current < command.high_fault_ma
        self.suspicions["current"].judge(bad)
        if bad:
            return
        self.target = command.setpoint(current)
        if command.cutoff is not None:
            release = command.cutoff + command.cutoff_hysteresis
            self.cut = self.target < (release if self.cut else command.cutoff)

    def _read_pressure(self, share: float) -> None:
        measurement = self.settings.measurement
        bad = _outside(share, measurement.valid)
        self.suspicions["pressure sensor"].judge(bad)
        self.movement = 0.0
        if bad:
            return
        low, high = measurement.channel
        reading = _clip(low + (high - low) * share, SIGNAL_LOW, SIGNAL_HIGH)
        last = reading if self.fresh else self.pressure
        self.pressure = last + self._share(measurement.filter_s) * (reading - last)
        self.movement = self.pressure - last

    def _read_supply(self, share: float) -> None:
        supply = self.settings.supply
        bad = _outside(share, supply.valid)
        self.suspicions["supply sensor"].judge(bad)
        if not bad:
            low, high = supply.channel
            reading = _clip(low + (high - low) * share, 0.0, 32_767 / 16_384)
            last = reading if self.fresh else self.supply
            self.supply = last + self._share(supply.filter_s) * (reading - last)
        self.suspicions["supply lost"].judge(self.supply < supply.lost)

    def _share(self, filter_s: float) -> float:
        return self.settings.tick_s / (filter_s + self.settings.tick_s)

    def _ramp(self) -> None:
        command, h = self.settings.command, self.settings.tick_s
        if self.fresh:
            self.setpoint = self.pressure
        elif self.target > self.setpoint:
            limit = self.setpoint + command.ramp_up_per_s * h
            self.setpoint = min(self.target, limit)
        else:
            limit = self.setpoint - command.ramp_down_per_s * h
            self.setpoint = max(self.target, limit)

    def _compensate(self) -> None:
        supply = self.settings.supply
        self.compensation = 1.0
        if supply.strength and not self.suspicions["supply sensor"].fault:
            absolute = _clip(supply.zero + supply.span * self.pressure, 0.0, 2.0)
            present = self._capacity(absolute, _clip(self.supply, 0.25, 2.0))
            if present >= 1 / 16_384:
                factor = _clip(self._capacity(absolute, 1.0) / present, 0.5, 4.0)
                self.compensation = 1.0 + supply.strength * (factor - 1.0)

    def _capacity(self, absolute: float, supply: float) -> float:
        flow = self.settings.supply.flow
        ratio = min(absolute / supply, 1.0)
        return supply * float(np.interp(ratio, np.arange(17) / 16, flow))

    def _compare(self) -> None:
        pid = self.settings.pid
        error = self.setpoint - self.pressure
        limit = pid.deadband + (pid.deadband_hysteresis if self.inside else 0.0)
        self.inside = limit > 0.0 and abs(error) <= limit
        self.ticks_inside = self.ticks_inside + 1 if self.inside else 0
        beyond = 0.0 if self.inside else max(abs(error) - pid.deadband, 0.0)
        self.error = math.copysign(beyond, error)

    def _add_terms(self) -> None:
        pid, h = self.settings.pid, self.settings.tick_s
        weighted = self.error - (1.0 - pid.weight) * self.setpoint
        self.proportional = _clip(
            pid.gains.kp * _clip(weighted, -SPREAD, SPREAD), -TERM, TERM
        )
        lag_s = pid.derivative_filter_s + h
        resting = self.ticks_inside >= max(1, round(pid.dwell_s / h))
        movement = 0.0 if resting else self.movement
        self.washout = self.washout * pid.derivative_filter_s / lag_s + movement
        self.derivative = _clip(-pid.gains.kd_s / lag_s * self.washout, -TERM, TERM)
        self.feedforward = 0.0
        if pid.hold:
            setpoints, outputs = zip(*pid.hold, strict=True)
            at = _clip(self.setpoint, 0.0, SIGNAL_HIGH)
            self.feedforward = float(np.interp(at, setpoints, outputs))
        terms = self.proportional + self.integral + self.derivative + self.feedforward
        self.request = _clip(terms, -REQUEST, REQUEST)

    def _choose(self) -> None:
        output = self.settings.output
        self.active = self.mode
        if STOPPING.intersection(self.faults) or self.mode == "safe":
            self.active = "fault"
        elif self.fresh:
            self.active = "start"
        elif self.mode == "automatic" and self.cut:
            self.active = "shut"
        safe = {"vent": output.low, "hold": self.output, "fixed": output.safe_output}
        self.wanted = {
            "automatic": self.request * (self.compensation if self.request > 0 else 1),
            "manual": self.demand,
            "hold": self.output,
            "start": self.output,
            "shut": output.low,
            "fault": safe[output.safe_action],
        }[self.active]

    def _limit(self) -> None:
        output, h = self.settings.output, self.settings.tick_s
        goal = _clip(self.wanted, output.low, output.high)
        if self.active != "fault":
            goal = _clip(
                goal,
                self.output - output.fall_per_s * h,
                self.output + output.rise_per_s * h,
            )
        self.output = goal
        if self.active != "manual":
            self.demand = goal

    def _integrate(self) -> None:
        pid, h = self.settings.pid, self.settings.tick_s
        equivalent = self.output / (self.compensation if self.output > 0 else 1.0)
        if self.active != "automatic":
            self.integral = (
                equivalent - self.proportional - self.derivative - self.feedforward
            )
        elif not (self.inside or self.suspicions["pressure sensor"].count):
            excess = _clip(equivalent - self.request, -SPREAD, SPREAD)
            if self.output == self.wanted:
                excess = 0.0
            outward = excess * self.error < 0.0
            if not (pid.conditional and outward):
                self.integral += pid.gains.ki_per_s * h * self.error
            if pid.gains.ki_per_s:
                self.integral += h / pid.tracking_s * excess
        self.integral = _clip(self.integral, -INTEGRAL, INTEGRAL)

    def _drive(self) -> None:
        drive = self.settings.drive
        urgent = self.active in ("fault", "shut")
        if isinstance(drive, ProportionalDrive):
            self.drive = self.output
            if drive.dither:
                half = max(1, round(drive.dither_half_period_s / self.settings.tick_s))
                self.phase = (self.phase + 1) % (2 * half)
                swing = -drive.dither if self.phase >= half else drive.dither
                if not urgent:
                    output = self.settings.output
                    self.drive = _clip(self.output + swing, output.low, output.high)
        else:
            self._pulse(drive, urgent)

    def _pulse(self, drive: ValvePairDrive, urgent: bool) -> None:
        h = self.settings.tick_s
        shortest = max(1, math.ceil(drive.minimum_on_s / h - 1e-9))
        self.charge += self.output
        if urgent and _spent(self.charge, self.output):
            self.charge = 0.0
        done = self.phase >= shortest and _spent(self.drive, self.charge)
        if done or (urgent and _spent(self.drive, self.output)):
            dead = math.ceil(drive.dead_time_s / h - 1e-9)
            self.idle = int(math.copysign(dead, self.drive))
            self.drive = 0.0
        owed = 1e-9 if abs(self.output) == 1.0 else shortest
        if not self.drive and abs(self.charge) >= owed:
            side = math.copysign(1.0, self.charge)
            if self.idle * side >= 0:
                self.drive, self.phase = side, 0
        if self.drive:
            self.charge -= self.drive
            self.phase += 1
        if self.idle:
            self.idle -= int(math.copysign(1, self.idle))


def _spent(valve: float, owed: float) -> bool:
    """Tell whether a valve (by its sign) has nothing more to give."""
    return (valve > 0.0 >= owed) or (valve < 0.0 <= owed)


def _outside(share: float, valid: tuple[float, float]) -> bool:
    low, high = valid
    return (low > 0.0 and share <= low) or (high < 1.0 and share >= high)
