"""What a word-length study found: plain words, and plain numbers."""

from collections.abc import Callable
from dataclasses import asdict
from typing import Any

from host_sim.law.block import FULL
from host_sim.scenario.load import Scenario
from host_sim.tune.wordlength_integral import DeadZone
from host_sim.tune.wordlength_rest import INTEGRAL_TIMES, Swing
from host_sim.tune.wordlength_results import (
    LATER_SHARE,
    LATER_TICKS,
    SWING_PERCENT,
    Axis,
    Trial,
    WordLengthStudy,
)
from host_sim.tune.wordlength_variants import (
    COUNT_BITS,
    SIGNAL_BITS,
    signal_obstacle,
)

MACHINE_SHARE = 0.5
"""The ideal law swings by so much of what the words do: the machine hunts."""

PressureText = Callable[[float], str]


def judgment(study: WordLengthStudy, pressure_text: PressureText) -> list[str]:
    """Say what the scenario needs and what the board has beyond.

    Parameters
    ----------
    study : WordLengthStudy
    pressure_text : callable
        Pressure difference in Pa to text.

    Returns
    -------
    list of str
        One paragraph on each thing found.
    """
    low_pa, high_pa = study.scenario.pressure_range_pa

    def share_text(percent: float) -> str:
        return f"{percent:.2g} % ({pressure_text(percent / 100 * (high_pa - low_pa))})"

    return [
        _criterion(study),
        *(_of_axis(study, axis, pressure_text) for axis in study.axes),
        _of_all(study),
        _of_rest(study, share_text),
        _of_remainders(study, share_text),
        *_of_integral(study, share_text),
    ]


def study_notes(study: WordLengthStudy) -> list[str]:
    """Collect what limits the study.

    Parameters
    ----------
    study : WordLengthStudy

    Returns
    -------
    list of str
    """
    scenario, notes = study.scenario, []
    obstacle = signal_obstacle(scenario)
    if obstacle is not None:
        notes.append(f"coarser signals were not tried: {obstacle}")
    if study.doubtful_steps:
        notes.append(
            f"the settling of {study.doubtful_steps} of the steps was not compared: "
            "under the ideal law it comes too late in their time, or never"
        )
    for shortfall in study.limits.shortfalls(study.own):
        notes.append(f"the scenario as it stands is not enough: {shortfall}")
    ki_per_s = scenario.law.pid.gains.ki_per_s
    if ki_per_s and 2.0 * study.rest.watched_s < INTEGRAL_TIMES / ki_per_s:
        notes.append(
            f"each level was watched for {study.rest.watched_s:.3g} s, only "
            f"{study.rest.watched_s * ki_per_s:.2g} times 1/ki; a slower cycle would "
            "not be seen as one"
        )
    return notes


def _criterion(study: WordLengthStudy) -> str:
    allowed = study.limits.off_percent
    return (
        f"Enough is what stays within {allowed:.2g} % of range (half the settle band) "
        "of the float law on converters without steps, in the run and at rest, "
        f"settles at most {100 * LATER_SHARE:.0f} % or {LATER_TICKS} ticks later, and "
        f"swings the output at rest at most {SWING_PERCENT:.2g} % more; more bits must "
        "be enough too. Each place was tried alone, all others as fine as the board "
        "has them."
    )


def _of_axis(study: WordLengthStudy, axis: Axis, pressure_text: PressureText) -> str:
    title, most = _TITLES[axis.name], max(axis.trials)
    enough = study.limits.fewest(axis)
    if enough is None:
        why = ", ".join(study.limits.shortfalls(axis.trials[most]))
        return f"{title}: not even {most} bits are enough: {why}."
    text = f"{title}: {enough} bits are enough"
    detail = _level_text(study.scenario, axis, enough, pressure_text)
    text += f" ({detail})" if detail else ""
    if enough - 1 in axis.trials:
        why = ", ".join(study.limits.shortfalls(axis.trials[enough - 1]))
        text += f"; with {enough - 1}: {why}"
    return f"{text}. {_reserve(axis, enough)}."


def _of_all(study: WordLengthStudy) -> str:
    together = study.together
    if together is None:
        return "So no fewer bits at every place at once were tried."
    if not together.extra:
        return "All these at once are enough too."
    bits = ", ".join(f"{name} {bits}" for name, bits in together.bits.items())
    more = "one bit more" if together.extra == 1 else f"{together.extra} bits more"
    return f"All at once are enough with {more} at every place: {bits}."


_TITLES = {
    "gains": "Gains and lags",
    "scales": "Scales, what a count means",
    "pressure converter": "Pressure converter",
    "command converter": "Command converter",
    "signals": "Signals (set point, pressure, error)",
}


def _level_text(
    scenario: Scenario, axis: Axis, bits: int, pressure_text: PressureText
) -> str:
    """Say what one level is worth, where that means something."""
    levels = (1 << bits) - 1
    if axis.name == "pressure converter":
        channel = scenario.plant.sensing.pressure
        return f"one level {pressure_text((channel.high - channel.low) / levels)}"
    if axis.name == "command converter":
        channel = scenario.current_channel
        return f"one level {1e3 * (channel.high - channel.low) / levels:.3g} uA"
    if axis.name == "signals":
        return f"100 % in {FULL / 2 ** (SIGNAL_BITS - bits):.0f} units"
    return ""


def _reserve(axis: Axis, needed: int) -> str:
    if axis.name in ("gains", "scales"):
        return f"The board's mantissas of {axis.has} leave {axis.has - needed}"
    if axis.name == "signals":
        return f"The board's {axis.has} (25 000 units) leave {axis.has - needed}"
    board = f"the board's {COUNT_BITS}-bit counts leave {COUNT_BITS - needed}"
    if axis.has < needed:
        return f"The scenario's {axis.has} are too few; {board}"
    return f"The scenario's {axis.has} leave {axis.has - needed}, {board}"


def _of_rest(study: WordLengthStudy, share_text: Callable[[float], str]) -> str:
    own = study.scenario.law.pid.deadband
    texts = [f"without a deadband {_behaviour(study, 0.0, share_text)}"]
    if own:
        held = f"with the deadband of {100 * own:.2g} %"
        texts.insert(0, f"{held} {_behaviour(study, own, share_text)}")
    return f"Left alone, no noise: {'; '.join(texts)}."


def _behaviour(
    study: WordLengthStudy, deadband: float, share_text: Callable[[float], str]
) -> str:
    swings = study.left_alone("carried", deadband).swings
    moving = [swing for swing in swings if swing.state != "still"]
    if not moving:
        return f"the output stands still at all {len(swings)} levels"
    cycles = [swing for swing in moving if swing.state == "cycle"]
    largest = max(cycles or moving, key=lambda swing: swing.output_swing_percent)
    ideal = max(
        swing.output_swing_percent
        for swing in study.left_alone("ideal", deadband).swings
    )
    machine = ideal >= MACHINE_SHARE * largest.output_swing_percent
    verdict = "the machine's own" if machine else "the words' doing"
    period = "" if largest.period_s is None else f" every {largest.period_s:.2g} s"
    return (
        f"the output moves at {len(moving)} of {len(swings)} levels, in an even cycle "
        f"at {len(cycles) or 'none'}: by {largest.output_swing_percent:.2g} %{period}, "
        f"the pressure by {share_text(largest.pressure_swing_percent)}, peak to peak; "
        f"under the ideal law by {ideal:.2g} %, so it is mostly {verdict}"
    )


def _of_remainders(study: WordLengthStudy, share_text: Callable[[float], str]) -> str:
    carried, dropped = (
        max(
            abs(swing.error_percent)
            for swing in study.left_alone(law, study.scenario.law.pid.deadband).swings
        )
        for law in ("carried", "dropped")
    )
    return (
        f"Remainders carried, the mean pressure at rest is at most "
        f"{share_text(carried)} from the set point; with remainders thrown away after "
        f"every tick, which is plain rounding, {share_text(dropped)}."
    )


def _of_integral(
    study: WordLengthStudy, share_text: Callable[[float], str]
) -> list[str]:
    integral = study.integral
    if integral is None:
        return ["No integral action: no error is too small for it."]
    zones = {zone.arithmetic: zone for zone in integral.zones}
    return [
        f"One count of error, {share_text(100 / FULL)}, moves the output after "
        f"{integral.one_count_ticks} ticks, {integral.one_count_s:.2g} s, at its exact "
        f"rate. Of the same ki, {_blindness(zones['rounding'], share_text)}; "
        f"{_blindness(zones['truncation'], share_text)}; a floor is as blind to "
        "positive errors, and the smallest negative one takes a whole count a tick.",
        f"Smallest ki at a tick of {1e3 * integral.tick_s:g} ms: "
        f"{integral.smallest_ki_per_s:.2g} 1/s, from "
        f"{integral.smallest_exact_ki_per_s:.2g} 1/s with all bits of the mantissa; "
        "none has a dead zone. Plain rounding has one below "
        f"{zones['rounding'].smallest_ki_per_s:.3g} 1/s and could rest outside the "
        f"settle band below {zones['rounding'].smallest_ki_within_band_per_s:.2g} 1/s; "
        f"truncation below {zones['truncation'].smallest_ki_per_s:.3g} and "
        f"{zones['truncation'].smallest_ki_within_band_per_s:.2g} 1/s.",
    ]


def _blindness(zone: DeadZone, share_text: Callable[[float], str]) -> str:
    return (
        f"{zone.arithmetic} sees none below {zone.above_counts} counts, "
        f"{share_text(zone.above_percent)}"
    )


def study_as_dict(
    study: WordLengthStudy, pressure_text: PressureText
) -> dict[str, Any]:
    """Turn a study into plain numbers and words, units in the keys.

    Parameters
    ----------
    study : WordLengthStudy
    pressure_text : callable
        As `judgment` takes it.

    Returns
    -------
    dict
    """
    integral, together = study.integral, study.together
    return {
        "title": study.scenario.title,
        "tick_s": study.scenario.law.tick_s,
        "levels_percent": [100.0 * level for level in study.rest.levels],
        "watched_s": study.rest.watched_s,
        "as_it_stands": _trial_as_dict(study, study.own),
        "together": together
        and {
            "bits": together.bits,
            "extra_bits": together.extra,
            **_trial_as_dict(study, together.trial),
        },
        "places": [_axis_as_dict(study, axis) for axis in study.axes],
        "at_rest": [
            {
                "law": case.law,
                "deadband_percent": 100.0 * case.deadband,
                "levels": [_swing_as_dict(swing) for swing in case.swings],
            }
            for case in study.rest_cases
        ],
        "integral": integral
        and {**asdict(integral), "one_count_s": integral.one_count_s},
        "judgment": judgment(study, pressure_text),
        "notes": study_notes(study),
    }


def _axis_as_dict(study: WordLengthStudy, axis: Axis) -> dict[str, Any]:
    return {
        "name": axis.name,
        "has_bits": axis.has,
        "enough_bits": study.limits.fewest(axis),
        "trials": [
            {"bits": bits, **_trial_as_dict(study, trial)}
            for bits, trial in axis.trials.items()
        ],
    }


def _trial_as_dict(study: WordLengthStudy, trial: Trial) -> dict[str, Any]:
    shown = {key: part for key, part in vars(trial).items() if key != "rest"}
    return {
        **shown,
        "pressure_swing_percent": trial.pressure_swing_percent,
        "output_swing_percent": trial.output_swing_percent,
        "cycle_period_s": trial.period_s,
        "shortfalls": study.limits.shortfalls(trial),
    }


def _swing_as_dict(swing: Swing) -> dict[str, Any]:
    return {key: part for key, part in vars(swing).items() if "trace" not in key}
