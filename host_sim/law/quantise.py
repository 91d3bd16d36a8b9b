"""Settings to the board's integers; what does not fit is refused."""

import math

import numpy as np

from firmware_model.law import layout
from host_sim.errors import InputError
from host_sim.law.block import COUNTS, FULL, HOLD_STEP, Q12, Q14, SAFE_ACTIONS, Block
from host_sim.law.gain import QuantisedGain, quantise_gain
from host_sim.law.settings import (
    INFINITE,
    Command,
    LawSettings,
    Measurement,
    Output,
    Pid,
    ProportionalDrive,
    SupplyCompensation,
    ValvePairDrive,
)


def quantise(settings: LawSettings) -> Block:
    """Turn settings into the board's integers.

    Parameters
    ----------
    settings : LawSettings
        Physical settings; fractions of span, seconds, mA.

    Returns
    -------
    Block
        Each word within the range that the layout declares.

    Raises
    ------
    InputError
        A setting that does not fit, with the nearest that does.

    >>> quantise(LawSettings(tick_s=0.01))["P_GAIN"]
    8192
    """
    block = Block(settings.tick_s)
    _put_command(block, settings.command)
    _put_measurement(block, settings.measurement)
    _put_supply(block, settings.supply)
    _put_pid(block, settings.pid)
    _put_output(block, settings.output)
    _put_drive(block, settings.drive)
    block.check_order()
    return block


def _signal(name: str, fraction: float) -> int:
    low, high = layout.SIGNAL
    word = round(fraction * FULL)
    if not low <= word <= high:
        raise InputError(
            f"{name}: {100 * fraction:g} % is outside "
            f"{100 * low / FULL:g} ... {100 * high / FULL:g} %"
        )
    return word


def count_ticks(
    block: Block,
    name: str,
    time_s: float,
    highest: int,
    *,
    least: int = 1,
    at_least: bool = False,
) -> int:
    """Count the ticks of a time; ``at_least`` never shortens it."""
    if time_s == INFINITE:
        return highest
    exact = time_s / block.tick_s
    ticks = max(math.ceil(exact - 1e-9) if at_least else round(exact), least)
    if ticks > highest:
        raise InputError(
            f"{name}: {time_s:g} s is {ticks} ticks, at most {highest} fit: "
            f"nearest that fits {highest * block.tick_s:g} s"
        )
    return ticks


def _rate(block: Block, name: str, per_s: float, highest: int) -> int:
    if per_s == INFINITE:
        return highest
    word = round(per_s * FULL * block.tick_s * Q14)
    if word < 1:
        raise InputError(
            f"{name}: {100 * per_s:g} %/s is too slow: smallest that fits "
            f"{100 / (FULL * block.tick_s * Q14):.3g} %/s"
        )
    return min(word, highest)


def _limits(valid: tuple[float, float]) -> tuple[int, int]:
    """Find the counts at which a sensor is bad; the full range means never."""
    low = round(valid[0] * COUNTS) if valid[0] > 0.0 else layout.LIMIT[0]
    high = round(valid[1] * COUNTS) if valid[1] < 1.0 else layout.LIMIT[1]
    return low, high


def _put_command(block: Block, command: Command) -> None:
    low_ma, high_ma = command.channel_ma
    block.put_gain(
        "CURRENT", quantise_gain("command.channel", (high_ma - low_ma) * 1e3 / COUNTS)
    )
    block["CURRENT_OFFSET"] = round(low_ma * 1e3)
    block["CURRENT_LOW"] = round(command.low_fault_ma * 1e3)
    block["CURRENT_HIGH"] = round(command.high_fault_ma * 1e3)
    block["CURRENT_PATIENCE"] = count_ticks(
        block, "command.patience", command.patience_s, layout.TICKS[1]
    )
    block["RANGE_START"] = round(command.start_ma * 1e3)
    span_ua = (command.end_ma - command.start_ma) * 1e3
    block.put_gain("RANGE", quantise_gain("command.range", FULL / span_ua))
    block["REVERSE"] = int(command.reverse)
    block["SETPOINT_LOW"] = _signal("command.setpoint_low", command.setpoint_low)
    block["SETPOINT_HIGH"] = _signal("command.setpoint_high", command.setpoint_high)
    if command.cutoff is not None:
        block["CUTOFF"] = _signal("command.cutoff", command.cutoff)
        block["CUTOFF_HYSTERESIS"] = _signal(
            "command.cutoff_hysteresis", command.cutoff_hysteresis
        )
    highest = layout.SETPOINT_RATE[1]
    block["RAMP_UP"] = _rate(block, "command.ramp_up", command.ramp_up_per_s, highest)
    block["RAMP_DOWN"] = _rate(
        block, "command.ramp_down", command.ramp_down_per_s, highest
    )


def _share(name: str, block: Block, lag_s: float) -> QuantisedGain:
    """Quantise the share ``h / (lag + h)`` that a first-order lag takes a tick."""
    share = block.tick_s / (lag_s + block.tick_s)
    if share < math.ldexp(1, -layout.SHIFT[1]):
        raise InputError(
            f"{name}: {lag_s:g} s is too long for a tick of {block.tick_s:g} s: "
            f"nearest that fits {block.tick_s * 2 ** layout.SHIFT[1]:.3g} s"
        )
    return quantise_gain(name, share, 1.0)


def _tracking(block: Block, tracking_s: float) -> QuantisedGain:
    if tracking_s < block.tick_s:
        raise InputError(
            f"controller.tracking: {tracking_s:g} s is shorter than a tick: nearest "
            f"that fits {block.tick_s:g} s"
        )
    return quantise_gain("controller.tracking", block.tick_s / tracking_s, 1.0)


def _put_measurement(block: Block, measurement: Measurement) -> None:
    low, high = measurement.channel
    block["PRESSURE_LOW"], block["PRESSURE_HIGH"] = _limits(measurement.valid)
    block["SENSOR_PATIENCE"] = count_ticks(
        block, "sensor.patience", measurement.patience_s, layout.TICKS[1]
    )
    block.put_gain(
        "PRESSURE", quantise_gain("sensor.range", (high - low) * FULL / COUNTS)
    )
    block["PRESSURE_OFFSET"] = round(low * FULL)
    block.put_gain("FILTER", _share("measurement.filter", block, measurement.filter_s))


def _put_supply(block: Block, supply: SupplyCompensation) -> None:
    low, high = supply.channel
    block["SUPPLY_LOW"], block["SUPPLY_HIGH"] = _limits(supply.valid)
    block.put_gain("SUPPLY", quantise_gain("supply.range", (high - low) * Q14 / COUNTS))
    block["SUPPLY_OFFSET"] = round(low * Q14)
    filter_s = supply.filter_s
    block.put_gain(
        "SUPPLY_FILTER", _share("supply_compensation.filter", block, filter_s)
    )
    block["SUPPLY_LOST"] = round(supply.lost * Q14)
    block.put_gain("ABSOLUTE", quantise_gain("supply.span", supply.span * Q14 / FULL))
    block["ABSOLUTE_OFFSET"] = round(supply.zero * Q14)
    block["STRENGTH"] = round(supply.strength * Q12)
    for k, flow in enumerate(supply.flow):
        block[f"FLOW_{k}"] = round(flow * Q14)


def _put_pid(block: Block, pid: Pid) -> None:
    tick_s, gains = block.tick_s, pid.gains
    block["DEADBAND"] = _signal("controller.deadband", pid.deadband)
    block["DEADBAND_HYSTERESIS"] = _signal(
        "controller.deadband_hysteresis", pid.deadband_hysteresis
    )
    block["DWELL"] = count_ticks(block, "controller.dwell", pid.dwell_s, 1_000)
    block.put_gain("P", quantise_gain("controller.kp", gains.kp))
    block["WEIGHT"] = round(pid.weight * Q12)
    lag_s = pid.derivative_filter_s + tick_s
    kd = quantise_gain("controller.kd", gains.kd_s / lag_s, shown=lag_s, unit="s")
    block.put_gain("D", kd)
    leak = _share("controller.derivative_filter", block, pid.derivative_filter_s)
    block.put_gain("LEAK", leak)
    per_tick = gains.ki_per_s * tick_s
    ki = quantise_gain("controller.ki", per_tick, shown=1 / tick_s, unit="1/s")
    block.put_gain("I", ki)
    if gains.ki_per_s:
        block.put_gain("TRACK", _tracking(block, pid.tracking_s))
    block["CONDITIONAL"] = int(pid.conditional)
    if pid.hold:
        setpoints, outputs = zip(*pid.hold, strict=True)
        for k in range(layout.HOLD_POINTS):
            output = np.interp(k * HOLD_STEP / FULL, setpoints, outputs)
            block[f"HOLD_{k}"] = round(float(output) * FULL)


def _put_output(block: Block, output: Output) -> None:
    block["OUTPUT_LOW"] = round(output.low * FULL)
    block["OUTPUT_HIGH"] = round(output.high * FULL)
    highest = layout.OUTPUT_RATE[1]
    block["RATE_UP"] = _rate(block, "output.rise", output.rise_per_s, highest)
    block["RATE_DOWN"] = _rate(block, "output.fall", output.fall_per_s, highest)
    block["SAFE_ACTION"] = SAFE_ACTIONS.index(output.safe_action)
    block["SAFE_OUTPUT"] = round(output.safe_output * FULL)


def _put_drive(block: Block, drive: ProportionalDrive | ValvePairDrive) -> None:
    if isinstance(drive, ProportionalDrive):
        block["DITHER"] = round(drive.dither * FULL)
        if drive.dither:
            block["DITHER_TICKS"] = count_ticks(
                block, "drive.dither", drive.dither_half_period_s, 2**15
            )
    else:
        block["DRIVE_KIND"] = 1
        block["PULSE_TICKS"] = count_ticks(
            block, "drive.minimum_on", drive.minimum_on_s, 1_024, at_least=True
        )
        block["DEAD_TICKS"] = count_ticks(
            block, "drive.dead_time", drive.dead_time_s, 1_024, least=0, at_least=True
        )
