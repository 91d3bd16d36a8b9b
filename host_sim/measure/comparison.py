"""The same step under several gain sets, and what each term did to it."""

from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from typing import Any

from host_sim.errors import InputError
from host_sim.law.settings import Gains
from host_sim.loop.engine import Engine, run
from host_sim.loop.record import Run
from host_sim.measure.answer import Answer, find_steps, measure_run
from host_sim.measure.step_metrics import StepMetrics
from host_sim.scenario.load import Scenario

YOURS = "yours"
MORE_P = 2.0
TD_SHARE_OF_TI = 1 / 8
TI_SHARE_OF_RUN = 1 / 10


@dataclass(frozen=True)
class Trial:
    """One gain set and its run; ``step`` is the largest step of the command."""

    name: str
    gains: Gains
    run: Run
    answer: Answer
    step: StepMetrics


def gain_sets(scenario: Scenario) -> dict[str, Gains]:
    """Name the gain sets to compare: the scenario's own choice, or P to PID.

    Without a choice: P with the scenario's kp, twice that, PI, PID, and
    the scenario's own last. A missing integral time is a tenth of the run, a
    missing derivative time an eighth of the integral time (common practice, no
    source). A set equal to the scenario's own appears only as that.
    """
    own = scenario.law.pid.gains
    if scenario.gain_sets:
        return {**scenario.gain_sets, YOURS: own}
    ti_s = own.ti_s if own.ki_per_s else scenario.duration_s * TI_SHARE_OF_RUN
    td_s = own.td_s or ti_s * TD_SHARE_OF_TI
    sets = {
        "P": Gains(own.kp),
        "more P": Gains(MORE_P * own.kp),
        "PI": Gains.from_ideal(own.kp, ti_s),
        "PID": Gains.from_ideal(own.kp, ti_s, td_s),
    }
    return {**{n: g for n, g in sets.items() if g != own}, YOURS: own}


def compare_gains(
    scenario: Scenario,
    each_trial: Callable[[str], None] | None = None,
    engine: Engine = "auto",
) -> list[Trial]:
    """Run the scenario once for each gain set.

    Parameters
    ----------
    scenario : Scenario
        Must command at least one step.
    each_trial : callable, optional
        Called with the name of each set before it runs.
    engine : str

    Returns
    -------
    list of Trial
        Only the finished ones when interrupted.

    Raises
    ------
    InputError
        The command has no step to compare.
    KeyboardInterrupt
        Before the first one was finished.
    """
    if not find_steps(scenario, scenario.ticks)[0]:
        raise InputError(
            "profile: no step of at least 1 % of the range to compare; add one to "
            "profile.steps"
        )
    trials = []
    for name, gains in gain_sets(scenario).items():
        if each_trial is not None:
            each_trial(name)
        pid = replace(scenario.law.pid, gains=gains)
        tried = replace(scenario, law=replace(scenario.law, pid=pid))
        done = run(tried, engine)
        if done.ticks < scenario.ticks:
            break
        answer = measure_run(tried, done)
        step = max(
            answer.steps, key=lambda s: abs(s.setpoint_to_pa - s.setpoint_from_pa)
        )
        trials.append(Trial(name, gains, done, answer, step))
    if not trials:
        raise KeyboardInterrupt
    return trials


def trials_as_dict(trials: list[Trial]) -> list[dict[str, Any]]:
    """Turn trials into plain numbers, units in the keys."""
    return [
        {
            "name": trial.name,
            "kp": trial.gains.kp,
            "ki_per_s": trial.gains.ki_per_s,
            "kd_s": trial.gains.kd_s,
            "step": asdict(trial.step),
            "output": asdict(trial.answer.output),
            "air_used": asdict(trial.answer.air),
        }
        for trial in trials
    ]


def lessons(trials: list[Trial], pressure_text: Callable[[float], str]) -> list[str]:
    """Say what each term did, from the figures just measured.

    Parameters
    ----------
    trials : list of Trial
        Those named P, more P, PI and PID are compared, as far as present; the
        scenario's own stands for a set that equals it.
    pressure_text : callable
        Pressure difference in Pa to text.

    Returns
    -------
    list of str
        One sentence for each pair of trials.
    """
    by_kind = {_kind(trial): trial for trial in trials}
    pairs = (
        ("P", "more P", "Twice the P"),
        ("P", "PI", "With I"),
        ("PI", "PID", "With D"),
    )
    return [
        _lesson(by_kind[before].step, by_kind[after].step, change, pressure_text)
        for before, after, change in pairs
        if before in by_kind and after in by_kind
    ]


def _kind(trial: Trial) -> str:
    if trial.name != YOURS:
        return trial.name
    return "P" + "I" * bool(trial.gains.ki_per_s) + "D" * bool(trial.gains.kd_s)


def _lesson(
    before: StepMetrics,
    after: StepMetrics,
    change: str,
    pressure_text: Callable[[float], str],
) -> str:
    effects = (
        _effect("offset", _offset_pa(before), _offset_pa(after), pressure_text),
        _effect(
            "overshoot",
            before.overshoot_percent,
            after.overshoot_percent,
            lambda percent: f"{percent:.1f} %",
        ),
        _effect(
            "10-90 % rise time",
            before.rise_time_s,
            after.rise_time_s,
            lambda time_s: f"{time_s:.2f} s",
        ),
    )
    return f"{change}: {', '.join(effects)}."


def _offset_pa(step: StepMetrics) -> float | None:
    return None if step.steady_error_pa is None else abs(step.steady_error_pa)


def _effect(
    what: str,
    before: float | None,
    after: float | None,
    text: Callable[[float], str],
) -> str:
    """Say how a figure changed, in words."""
    if before is None and after is None:
        return f"{what} unknown before and after"
    if before is None or after is None:
        known = "unknown" if after is None else text(after)
        return f"{what} now {known}" + ("" if after is None else " (unknown before)")
    if before == after == 0.0:
        return f"still no {what}"
    if text(before) == text(after):
        return f"{what} unchanged at {text(after)}"
    verb = "falls" if after < before else "grows"
    return f"{what} {verb} from {text(before)} to {text(after)}"
