"""The law's part of a scenario file, made into what the law is told."""

import math
from typing import Literal, cast

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
from host_sim.plant.gas import flow_function
from host_sim.scenario.tree import Tree

DEFAULT_DERIVATIVE_DIVISOR = 10.0
FLOW_STEPS = 16


def build_law(tree: Tree) -> LawSettings:
    """Build what the law is told.

    Parameters
    ----------
    tree : Tree
        The file's keys.

    Returns
    -------
    LawSettings
        Calibration in fractions of range and of reference supply.

    Notes
    -----
    Source: field by field, the key of the same name.
    """
    return LawSettings(
        tick_s=tree.number("run.tick"),
        command=_command(tree),
        measurement=_measurement(tree),
        supply=_supply(tree),
        pid=_pid(tree),
        output=_output(tree),
        drive=_drive(tree),
    )


def build_gain_sets(tree: Tree) -> dict[str, Gains]:
    """Build the named gains that a comparison runs beside the scenario's.

    Parameters
    ----------
    tree : Tree
        The file's keys.

    Returns
    -------
    dict of str to Gains
        In the order of the file; empty when it names none.

    Notes
    -----
    Source: field by field, the key of the same name.
    """
    return {name: _gains(tree, f"gain_sets.{name}") for name in tree.names("gain_sets")}


def default_tracking_s(gains: Gains) -> float:
    """Choose the anti-windup time: ``sqrt(ti td)``, or ``ti / 2`` for PI.

    Parameters
    ----------
    gains : Gains
        The controller's gains.

    Returns
    -------
    float
        Tracking time [s]; infinite without integral action.

    Notes
    -----
    Source: Astrom and Haegglund, PID Controllers (1995), 3.5, from memory.

    Examples
    --------
    >>> default_tracking_s(Gains.from_ideal(2.0, ti_s=4.0, td_s=1.0))
    2.0
    >>> default_tracking_s(Gains.from_ideal(2.0, ti_s=4.0))
    2.0
    """
    if not gains.td_s:
        return gains.ti_s / 2.0
    return math.sqrt(gains.ti_s * gains.td_s)


def _gains(tree: Tree, path: str) -> Gains:
    if tree.has(f"{path}.ideal"):
        return Gains.from_ideal(
            tree.number(f"{path}.ideal.kc"),
            tree.number_or(f"{path}.ideal.ti", INFINITE),
            tree.number(f"{path}.ideal.td"),
        )
    return Gains(
        tree.number(f"{path}.parallel.kp"),
        tree.number(f"{path}.parallel.ki"),
        tree.number(f"{path}.parallel.kd"),
    )


def _command(tree: Tree) -> Command:
    return Command(
        channel_ma=(
            tree.number("sensor.current.low"),
            tree.number("sensor.current.high"),
        ),
        start_ma=tree.number("command.start"),
        end_ma=tree.number("command.end"),
        reverse=tree.flag("command.reverse"),
        low_fault_ma=tree.number("command.low_fault"),
        high_fault_ma=tree.number("command.high_fault"),
        patience_s=tree.number("command.patience"),
        setpoint_low=tree.number("command.setpoint_low"),
        setpoint_high=tree.number("command.setpoint_high"),
        cutoff=tree.optional("command.cutoff"),
        cutoff_hysteresis=tree.number("command.cutoff_hysteresis"),
        ramp_up_per_s=tree.number_or("command.ramp_up", INFINITE),
        ramp_down_per_s=tree.number_or("command.ramp_down", INFINITE),
    )


def _measurement(tree: Tree) -> Measurement:
    low_pa = tree.number("range.low")
    span_pa = tree.number("range.high") - low_pa
    return Measurement(
        channel=(
            (tree.number("sensor.pressure.low") - low_pa) / span_pa,
            (tree.number("sensor.pressure.high") - low_pa) / span_pa,
        ),
        filter_s=tree.number("measurement.filter"),
        valid=(
            tree.number("measurement.valid_low"),
            tree.number("measurement.valid_high"),
        ),
        patience_s=tree.number("measurement.patience"),
    )


def _supply(tree: Tree) -> SupplyCompensation:
    reference_pa = tree.number("supply.pressure")
    low_pa, high_pa = tree.number("range.low"), tree.number("range.high")
    return SupplyCompensation(
        channel=(
            tree.number("sensor.supply.low") / reference_pa,
            tree.number("sensor.supply.high") / reference_pa,
        ),
        zero=low_pa / reference_pa,
        span=(high_pa - low_pa) / reference_pa,
        strength=tree.number("supply_compensation.strength"),
        flow=_flow(tree),
        filter_s=tree.number("supply_compensation.filter"),
        valid=(
            tree.number("supply_compensation.valid_low"),
            tree.number("supply_compensation.valid_high"),
        ),
        lost=tree.number_or("supply_compensation.lost", 0.0) / reference_pa,
    )


def _flow(tree: Tree) -> tuple[float, ...]:
    """Tabulate the flow function that the law assumes of the filling valve."""
    valve = _filling_valve(tree)
    critical_ratio, index = (
        tree.number_or(f"supply_compensation.{name}", tree.number(f"{valve}.{name}"))
        for name in ("critical_ratio", "index")
    )
    return tuple(
        flow_function(point / FLOW_STEPS, critical_ratio, index)
        for point in range(FLOW_STEPS + 1)
    )


def _filling_valve(tree: Tree) -> str:
    """Name the path that the drive opens: the pilot's, where there is one."""
    if tree.has("valve"):
        return "valve.fill"
    return "pilot.chamber.fill" if tree.has("pilot.chamber") else "booster.fill"


def _pid(tree: Tree) -> Pid:
    gains = _gains(tree, "controller")
    divisor = tree.number_or(
        "controller.derivative_divisor", DEFAULT_DERIVATIVE_DIVISOR
    )
    conditional = tree.flag("controller.conditional")
    tracking_s = INFINITE if conditional else default_tracking_s(gains)
    if tree.given("controller.tracking"):
        tracking_s = tree.number_or("controller.tracking", INFINITE)
    return Pid(
        gains=gains,
        weight=tree.number("controller.weight"),
        derivative_filter_s=tree.number_or(
            "controller.derivative_filter", gains.td_s / divisor
        ),
        tracking_s=tracking_s,
        conditional=conditional,
        deadband=tree.number("controller.deadband"),
        deadband_hysteresis=tree.number("controller.deadband_hysteresis"),
        dwell_s=tree.number("controller.dwell"),
        hold=tree.pairs("controller.hold"),
    )


def _output(tree: Tree) -> Output:
    return Output(
        low=tree.number("output.low"),
        high=tree.number("output.high"),
        rise_per_s=tree.number_or("output.rise", INFINITE),
        fall_per_s=tree.number_or("output.fall", INFINITE),
        # The schema's choices are the literal's.
        safe_action=cast(
            "Literal['vent', 'hold', 'fixed']", tree.text("output.safe_action")
        ),
        safe_output=tree.number("output.safe_output"),
    )


def _drive(tree: Tree) -> ProportionalDrive | ValvePairDrive:
    if tree.has("drive.valve_pair"):
        return ValvePairDrive(
            tree.number("drive.valve_pair.minimum_on"),
            tree.number("drive.valve_pair.dead_time"),
        )
    return ProportionalDrive(
        tree.number("drive.proportional.dither"),
        tree.number_or("drive.proportional.half_period", INFINITE),
    )
