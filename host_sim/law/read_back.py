"""The board's integers back to the exact settings that they stand for."""

from dataclasses import dataclass

from firmware_model.law import layout
from host_sim.law.block import COUNTS, FULL, HOLD_STEP, Q12, Q14, SAFE_ACTIONS, Block
from host_sim.law.settings import (
    INFINITE,
    Command,
    Gains,
    LawSettings,
    Measurement,
    Output,
    Pid,
    ProportionalDrive,
    SupplyCompensation,
    ValvePairDrive,
)


def read_back(block: Block) -> LawSettings:
    """Turn a parameter block into the exact settings that it stands for.

    The result has no rounding left: quantising it gives the same block, and the
    float reference run on it differs from the board by the law's own rounding
    only.

    >>> from host_sim.law.quantise import quantise
    >>> settings = LawSettings(tick_s=0.01)
    >>> quantise(read_back(quantise(settings))).words == quantise(settings).words
    True
    """
    return LawSettings(
        tick_s=block.tick_s,
        command=_read_command(block),
        measurement=_read_measurement(block),
        supply=_read_supply(block),
        pid=_read_pid(block),
        output=_read_output(block),
        drive=_read_drive(block),
    )


@dataclass(frozen=True)
class KeptGain:
    """A gain as it was wanted and as the board keeps it, in the user's unit."""

    name: str
    unit: str
    wanted: float
    kept: float
    mantissa: int
    shift: int

    @property
    def relative_error(self) -> float:
        """``kept / wanted - 1``."""
        return self.kept / self.wanted - 1.0


def kept_gains(settings: LawSettings, block: Block) -> list[KeptGain]:
    """Compare the gains that were wanted with those that the block stands for.

    Gains that are off are left out.

    >>> from host_sim.law.quantise import quantise
    >>> settings = LawSettings(0.01, pid=Pid(gains=Gains(0.3)))
    >>> found = kept_gains(settings, quantise(settings))
    >>> [(gain.name, gain.wanted, gain.kept) for gain in found]
    [('kp', 0.3, 0.29999)]
    """
    wanted, kept = settings.pid, read_back(block).pid
    rows = (
        ("kp", "%/%", "P", wanted.gains.kp, kept.gains.kp),
        ("ki", "1/s", "I", wanted.gains.ki_per_s, kept.gains.ki_per_s),
        ("kd", "s", "D", wanted.gains.kd_s, kept.gains.kd_s),
        (
            "derivative filter",
            "s",
            "LEAK",
            wanted.derivative_filter_s,
            kept.derivative_filter_s,
        ),
        ("tracking", "s", "TRACK", wanted.tracking_s, kept.tracking_s),
    )
    return [
        KeptGain(name, unit, want, keep, block[f"{stem}_GAIN"], block[f"{stem}_SHIFT"])
        for name, unit, stem, want, keep in rows
        if want not in (0.0, INFINITE) and keep != INFINITE
    ]


def _per_s(block: Block, name: str, highest: int) -> float:
    word = block[name]
    return INFINITE if word == highest else word / (FULL * block.tick_s * Q14)


def _lag_s(block: Block, stem: str) -> float:
    return block.tick_s / block.ratio(stem) - block.tick_s


def _valid(block: Block, stem: str) -> tuple[float, float]:
    low, high = block[f"{stem}_LOW"], block[f"{stem}_HIGH"]
    return (
        low / COUNTS if low > layout.LIMIT[0] else 0.0,
        high / COUNTS if high < layout.LIMIT[1] else 1.0,
    )


def _channel(block: Block, stem: str, unit: float) -> tuple[float, float]:
    low = block[f"{stem}_OFFSET"] / unit
    return low, low + block.ratio(stem) * COUNTS / unit


def _read_command(block: Block) -> Command:
    start_ma = block["RANGE_START"] / 1e3
    off = block["CUTOFF"] == layout.SIGNAL[0]
    return Command(
        channel_ma=_channel(block, "CURRENT", 1e3),
        start_ma=start_ma,
        end_ma=start_ma + FULL / block.ratio("RANGE") / 1e3,
        reverse=bool(block["REVERSE"]),
        low_fault_ma=block["CURRENT_LOW"] / 1e3,
        high_fault_ma=block["CURRENT_HIGH"] / 1e3,
        patience_s=block["CURRENT_PATIENCE"] * block.tick_s,
        setpoint_low=block["SETPOINT_LOW"] / FULL,
        setpoint_high=block["SETPOINT_HIGH"] / FULL,
        cutoff=None if off else block["CUTOFF"] / FULL,
        cutoff_hysteresis=block["CUTOFF_HYSTERESIS"] / FULL,
        ramp_up_per_s=_per_s(block, "RAMP_UP", layout.SETPOINT_RATE[1]),
        ramp_down_per_s=_per_s(block, "RAMP_DOWN", layout.SETPOINT_RATE[1]),
    )


def _read_measurement(block: Block) -> Measurement:
    return Measurement(
        channel=_channel(block, "PRESSURE", FULL),
        filter_s=_lag_s(block, "FILTER"),
        valid=_valid(block, "PRESSURE"),
        patience_s=block["SENSOR_PATIENCE"] * block.tick_s,
    )


def _read_supply(block: Block) -> SupplyCompensation:
    return SupplyCompensation(
        channel=_channel(block, "SUPPLY", Q14),
        zero=block["ABSOLUTE_OFFSET"] / Q14,
        span=block.ratio("ABSOLUTE") * FULL / Q14,
        strength=block["STRENGTH"] / Q12,
        flow=tuple(block[f"FLOW_{k}"] / Q14 for k in range(layout.FLOW_POINTS)),
        filter_s=_lag_s(block, "SUPPLY_FILTER"),
        valid=_valid(block, "SUPPLY"),
        lost=block["SUPPLY_LOST"] / Q14,
    )


def _read_pid(block: Block) -> Pid:
    tick_s, filter_s = block.tick_s, _lag_s(block, "LEAK")
    track = block.ratio("TRACK")
    hold = [block[f"HOLD_{k}"] / FULL for k in range(layout.HOLD_POINTS)]
    return Pid(
        gains=Gains(
            kp=block.ratio("P"),
            ki_per_s=block.ratio("I") / tick_s,
            kd_s=block.ratio("D") * (filter_s + tick_s),
        ),
        weight=block["WEIGHT"] / Q12,
        derivative_filter_s=filter_s,
        tracking_s=tick_s / track if track else INFINITE,
        conditional=bool(block["CONDITIONAL"]),
        deadband=block["DEADBAND"] / FULL,
        deadband_hysteresis=block["DEADBAND_HYSTERESIS"] / FULL,
        dwell_s=block["DWELL"] * tick_s,
        hold=tuple((k * HOLD_STEP / FULL, v) for k, v in enumerate(hold))
        if any(hold)
        else (),
    )


def _read_output(block: Block) -> Output:
    highest = layout.OUTPUT_RATE[1]
    return Output(
        low=block["OUTPUT_LOW"] / FULL,
        high=block["OUTPUT_HIGH"] / FULL,
        rise_per_s=_per_s(block, "RATE_UP", highest),
        fall_per_s=_per_s(block, "RATE_DOWN", highest),
        safe_action=SAFE_ACTIONS[block["SAFE_ACTION"]],
        safe_output=block["SAFE_OUTPUT"] / FULL,
    )


def _read_drive(block: Block) -> ProportionalDrive | ValvePairDrive:
    if block["DRIVE_KIND"]:
        return ValvePairDrive(
            minimum_on_s=block["PULSE_TICKS"] * block.tick_s,
            dead_time_s=block["DEAD_TICKS"] * block.tick_s,
        )
    return ProportionalDrive(
        dither=block["DITHER"] / FULL,
        dither_half_period_s=block["DITHER_TICKS"] * block.tick_s,
    )
