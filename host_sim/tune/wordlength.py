"""How few bits would do: fewer at one place at a time.

All other places are as fine as the board has them. The reference is the float law
with its gains as wanted, on converters without steps, under the same noise. Every
other run is the board's own law.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from itertools import count

import numpy as np

from host_sim.errors import InputError
from host_sim.loop.record import Run
from host_sim.measure.agreement import compare_runs
from host_sim.measure.answer import measure_run
from host_sim.measure.response import TAIL_SHARE
from host_sim.measure.step_metrics import StepMetrics
from host_sim.scenario.load import Scenario
from host_sim.tune.wordlength_integral import study_integral
from host_sim.tune.wordlength_rest import (
    Rest,
    Swing,
    make_rest,
    run_ideal,
    run_whole,
    run_without_remainders,
    swings,
)
from host_sim.tune.wordlength_results import (
    Axis,
    Limits,
    RestCase,
    Together,
    Trial,
    WordLengthStudy,
)
from host_sim.tune.wordlength_variants import (
    COUNT_BITS,
    MANTISSA_BITS,
    SIGNAL_BITS,
    fewest_signal_bits,
    finest,
    signal_obstacle,
    with_command_bits,
    with_gain_bits,
    with_pressure_bits,
    with_scale_bits,
    with_signal_bits,
    without_deadband,
)

CHANGES: dict[str, Callable[[Scenario, int], Scenario]] = {
    "gains": with_gain_bits,
    "scales": with_scale_bits,
    "pressure converter": with_pressure_bits,
    "command converter": with_command_bits,
    "signals": with_signal_bits,
}
"""Places where bits can be saved, and how."""

FEWEST_MANTISSA_BITS, FEWEST_CONVERTER_BITS, FEWEST_SIGNAL_BITS = 2, 5, 8

FLOAT_SHARE = 0.25
"""Of the whole, about: what the float runs take that come first."""

Progress = Callable[[str, float], None]
Change = Callable[[Scenario], Scenario]


@dataclass(frozen=True)
class _Bench:
    """A scenario with what its trials are measured against."""

    scenario: Scenario
    reference: Run
    steps: tuple[StepMetrics | None, ...]
    rest: Rest
    rest_swings: tuple[Swing, ...]

    def trial(self, change: Change) -> Trial:
        """Run and measure the scenario with a choice of bits."""
        done = run_whole(change(self.scenario))
        low_pa, high_pa = self.scenario.pressure_range_pa
        agreement = compare_runs(done, self.reference, high_pa - low_pa)
        away_pa = done.columns["load_pa"] - self.reference.columns["load_pa"]
        later_s, later_share, lost = self._lateness(done)
        found = swings(self.rest, run_whole(change(self.rest.scenario)))
        pairs = list(zip(found, self.rest_swings, strict=True))
        return Trial(
            largest_percent=agreement.largest_pressure_percent,
            rms_percent=100 * float(np.sqrt(np.mean(away_pa**2))) / (high_pa - low_pa),
            signal_to_noise_db=agreement.signal_to_noise_db,
            later_s=later_s,
            later_share=later_share,
            lost_steps=lost,
            rest=found,
            rest_error_percent=max(
                abs(mine.error_percent - other.error_percent) for mine, other in pairs
            ),
            swing_growth_percent=max(
                mine.output_swing_percent - other.output_swing_percent
                for mine, other in pairs
            ),
        )

    def _lateness(self, done: Run) -> tuple[float, float, int]:
        """Compare the settling times of the scenario's own steps."""
        later, lost = [(0.0, 0.0)], 0
        answer = measure_run(self.scenario, done)
        for step, wanted in zip(answer.steps, self.steps, strict=True):
            if wanted is None or wanted.settling_band_s is None:
                continue
            if step.settling_band_s is None:
                lost += 1
                continue
            late_s = step.settling_band_s - wanted.settling_band_s
            later.append((late_s, late_s / max(wanted.settling_band_s, done.tick_s)))
        most_s = max(late_s for late_s, _ in later)
        return most_s, max(share for _, share in later), lost


def study_word_lengths(scenario: Scenario, progress: Progress) -> WordLengthStudy:
    """Run a scenario and its loop at rest with ever fewer bits.

    Parameters
    ----------
    scenario : Scenario
        Must command at least one step.
    progress : callable
        Called with what is done now and the share done in all.

    Returns
    -------
    WordLengthStudy

    Raises
    ------
    InputError
        No step to measure.
    KeyboardInterrupt
        It was stopped.
    """
    bench = _make_bench(scenario, progress)
    progress("the scenario as it stands", FLOAT_SHARE)
    own = bench.trial(lambda same: same)
    cases = _rest_cases(bench, own, progress)
    limits = Limits.of(scenario)
    axes = _axes(bench, progress)
    return WordLengthStudy(
        scenario=scenario,
        limits=limits,
        own=own,
        together=_together(bench, axes, limits),
        axes=axes,
        rest=bench.rest,
        rest_cases=cases,
        integral=study_integral(scenario.law, scenario.settle_band),
        doubtful_steps=bench.steps.count(None),
    )


def _make_bench(scenario: Scenario, progress: Progress) -> _Bench:
    rest = make_rest(scenario)
    ticks = scenario.ticks + rest.scenario.ticks

    def tell(done: int, before: int = 0) -> None:
        progress("the ideal law", FLOAT_SHARE * (before + done) / ticks)

    reference = run_ideal(scenario, tell)
    steps = measure_run(scenario, reference).steps
    if not steps:
        raise InputError(
            "profile: no step of at least 1 % of the range to compare; add one to "
            "profile.steps"
        )
    alone = run_ideal(rest.scenario, partial(tell, before=scenario.ticks))
    return _Bench(
        scenario, reference, tuple(map(_sure, steps)), rest, swings(rest, alone)
    )


def _sure(step: StepMetrics) -> StepMetrics | None:
    """Drop a step that settles so late that a hair decides."""
    settled_s = step.settling_band_s
    if settled_s is None or settled_s > (1.0 - TAIL_SHARE) * step.duration_s:
        return None
    return step


def _rest_cases(bench: _Bench, own: Trial, progress: Progress) -> tuple[RestCase, ...]:
    """Leave the three laws alone, with the deadband and without."""
    progress("the law without its remainders", 0.3)
    rest, width = bench.rest, bench.scenario.law.pid.deadband
    dropped = swings(rest, run_without_remainders(rest.scenario))
    cases = [
        RestCase("carried", width, own.rest),
        RestCase("dropped", width, dropped),
        RestCase("ideal", width, bench.rest_swings),
    ]
    if width:
        progress("the laws without the deadband", 0.4)
        bare = replace(rest, scenario=without_deadband(rest.scenario))
        for name, runner in (
            ("carried", run_whole),
            ("dropped", run_without_remainders),
            ("ideal", run_ideal),
        ):
            cases.append(RestCase(name, 0.0, swings(bare, runner(bare.scenario))))
    return tuple(cases)


def _axes(bench: _Bench, progress: Progress) -> tuple[Axis, ...]:
    scenario, axes = bench.scenario, []
    places = _places(scenario)
    for number, (name, most, fewest) in enumerate(places):
        progress(f"fewer bits: {name}", 0.6 + 0.4 * number / len(places))
        trials = {
            bits: bench.trial(partial(_with_bits, choice={name: bits}))
            for bits in range(most, fewest - 1, -1)
        }
        axes.append(Axis(name, _bits_now(scenario, name), trials))
    return tuple(axes)


def _places(scenario: Scenario) -> list[tuple[str, int, int]]:
    """List the places, each with the most and the fewest bits to try."""
    places = [
        ("gains", MANTISSA_BITS, FEWEST_MANTISSA_BITS),
        ("scales", MANTISSA_BITS, FEWEST_MANTISSA_BITS),
        ("pressure converter", COUNT_BITS, FEWEST_CONVERTER_BITS),
        ("command converter", COUNT_BITS, FEWEST_CONVERTER_BITS),
    ]
    if signal_obstacle(scenario) is None:
        fewest = max(FEWEST_SIGNAL_BITS, fewest_signal_bits(scenario))
        places.append(("signals", SIGNAL_BITS, fewest))
    return places


def _bits_now(scenario: Scenario, name: str) -> int:
    """Find what a place has; the board has only whole counts."""
    return {
        "gains": MANTISSA_BITS,
        "scales": MANTISSA_BITS,
        "pressure converter": scenario.plant.sensing.pressure.bits or COUNT_BITS,
        "command converter": scenario.current_channel.bits or COUNT_BITS,
        "signals": SIGNAL_BITS,
    }[name]


def _with_bits(scenario: Scenario, choice: dict[str, int]) -> Scenario:
    """Take so many bits at the places named, the most elsewhere."""
    scenario = finest(scenario)
    for name, bits in choice.items():
        scenario = CHANGES[name](scenario, bits)
    return scenario


def _together(bench: _Bench, axes: tuple[Axis, ...], limits: Limits) -> Together | None:
    """Add a bit at every place until all of them together are enough."""
    alone = {axis.name: limits.fewest(axis) for axis in axes}
    most = {axis.name: max(axis.trials) for axis in axes}
    fewest = {name: bits for name, bits in alone.items() if bits is not None}
    if len(fewest) < len(axes):
        return None
    # All the most bits are the run that every place began with, and that is enough.
    for extra in count():
        bits = {name: min(few + extra, most[name]) for name, few in fewest.items()}
        trial = bench.trial(partial(_with_bits, choice=bits))
        if not limits.shortfalls(trial):
            break
    return Together(extra, bits, trial)
