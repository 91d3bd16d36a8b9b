"""The word-length study: one place at a time, judged against the ideal law."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from lone_bag import lone_bag

from host_sim.errors import InputError
from host_sim.loop.record import Run
from host_sim.scenario.load import load_scenario
from host_sim.scenario.profile import Profile
from host_sim.show.quantise import show_word_lengths, word_length_figure
from host_sim.tune import wordlength_rest
from host_sim.tune.wordlength import study_word_lengths
from host_sim.tune.wordlength_report import judgment, study_as_dict, study_notes
from host_sim.tune.wordlength_results import Limits

PLACES = ["gains", "scales", "pressure converter", "command converter", "signals"]


def silent(words, share):
    assert words
    assert 0.0 <= share <= 1.0


def in_pascals(difference_pa):
    return f"{difference_pa:.0f} Pa"


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    path = tmp_path_factory.mktemp("bag") / "bag.toml"
    return study_word_lengths(load_scenario(lone_bag(path)), silent)


def axis_of(study, name):
    return next(axis for axis in study.axes if axis.name == name)


def plain_numbers(trial):
    return {key: part for key, part in vars(trial).items() if key != "rest"}


def test_study_looks_at_every_place_with_all_the_bits_that_there_are(study):
    assert [axis.name for axis in study.axes] == PLACES
    assert [axis.has for axis in study.axes] == [14, 14, 12, 12, 15]
    assert [max(axis.trials) for axis in study.axes] == [14, 14, 15, 15, 15]


def test_all_places_at_their_most_bits_are_the_same_run(study):
    first, *others = [axis.trials[max(axis.trials)] for axis in study.axes]
    for other in others:
        assert plain_numbers(other) == plain_numbers(first)


def test_fewest_is_enough_and_so_is_more_and_one_fewer_is_not(study):
    for axis in study.axes:
        enough = study.limits.fewest(axis)
        assert min(axis.trials) < enough < max(axis.trials)
        for bits, trial in axis.trials.items():
            if bits >= enough:
                assert study.limits.shortfalls(trial) == []
        assert study.limits.shortfalls(axis.trials[enough - 1])


def test_enough_is_held_by_the_numbers_of_the_trial_themselves(study):
    tick_s = study.scenario.law.tick_s
    for axis in study.axes:
        for trial in axis.trials.values():
            late = trial.later_s > 2 * tick_s and trial.later_share > 0.1
            off = max(trial.largest_percent, trial.rest_error_percent)
            enough = not (
                trial.lost_steps
                or late
                or off > 1.0
                or trial.swing_growth_percent > 0.5
            )
            assert enough == (study.limits.shortfalls(trial) == [])


def test_together_all_places_are_enough_with_the_same_bits_more(study):
    together = study.together
    assert study.limits.shortfalls(together.trial) == []
    for axis in study.axes:
        wanted = study.limits.fewest(axis) + together.extra
        assert together.bits[axis.name] == min(wanted, max(axis.trials))


def test_together_with_bits_to_add_is_said_with_all_of_them(study):
    more = replace(study, together=replace(study.together, extra=2))
    text = "\n".join(judgment(more, in_pascals))
    assert "with 2 bits more at every place: gains" in text


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"lost_steps": 2}, ["does not settle after 2 of the steps"]),
        ({"later_s": 0.05, "later_share": 0.11}, ["settles 0.05 s later"]),
        ({"later_s": 0.03, "later_share": 0.5}, []),
        ({"later_s": 0.5, "later_share": 0.09}, []),
        ({"largest_percent": 1.01}, ["1 % of range off in the run"]),
        ({"largest_percent": 0.99}, []),
        ({"rest_error_percent": 1.01}, ["1 % of range off at rest"]),
        ({"rest_error_percent": 0.99}, []),
        ({"swing_growth_percent": 0.51}, ["output swings 0.51 % more at rest"]),
        ({"swing_growth_percent": 0.49}, []),
    ],
)
def test_shortfalls_begin_where_the_limits_end(study, changes, words):
    best = axis_of(study, "gains").trials[14]
    # Half a settle band of 2 %; two ticks of 20 ms.
    assert Limits.of(study.scenario) == Limits(1.0, 0.04)
    assert study.limits.shortfalls(replace(best, **changes)) == words


@pytest.mark.parametrize("name", PLACES)
def test_noise_grows_as_bits_go(study, name):
    axis = axis_of(study, name)
    enough, most = study.limits.fewest(axis), max(axis.trials)
    worst, best = axis.trials[min(axis.trials)], axis.trials[most]
    assert worst.signal_to_noise_db < best.signal_to_noise_db - 12.0
    assert worst.rms_percent > 4.0 * best.rms_percent
    assert axis.trials[enough].largest_percent >= best.largest_percent


def test_rms_difference_is_what_signal_to_noise_says(study):
    # Noise of two trials against one signal: their ratio is that of the squares.
    one, other = (
        axis_of(study, name).trials[6] for name in ("scales", "command converter")
    )
    apart_db = one.signal_to_noise_db - other.signal_to_noise_db
    ratio_db = 20.0 * math.log10(other.rms_percent / one.rms_percent)
    assert apart_db == pytest.approx(ratio_db, abs=1e-6)
    for trial in (one, other):
        assert trial.rms_percent <= trial.largest_percent


def test_scales_of_few_bits_miss_the_pressure_by_their_rounding(study):
    # Set point and pressure each lose at most one part in 2**bits of what they see,
    # which is at most 100 % of the range, and the latter 125 % of it, 7.5 of 6 bar.
    for bits, trial in axis_of(study, "scales").trials.items():
        bound = 100.0 * (1.0 + 1.25 + 1.0) / 2**bits
        assert trial.rest_error_percent < bound + 0.2


def test_coarse_pressure_converter_makes_the_output_swing(study):
    axis = axis_of(study, "pressure converter")
    swings = [trial.output_swing_percent for trial in axis.trials.values()]
    # One level of the converter moves the proportional term by kp times its size.
    level_percent = 100.0 * 7.5 / 6.0 / (2**6 - 1)
    kp = study.scenario.law.pid.gains.kp
    assert axis.trials[6].output_swing_percent > 0.5 * kp * level_percent
    assert swings[-1] > 10.0 * swings[0]


def test_left_alone_has_all_laws_with_the_deadband_and_without(study):
    own = study.scenario.law.pid.deadband
    assert own > 0.0
    for deadband in (own, 0.0):
        for law in ("carried", "dropped", "ideal"):
            case = study.left_alone(law, deadband)
            assert (case.law, case.deadband) == (law, deadband)
            assert len(case.swings) == len(study.rest.levels)


def test_judgment_names_every_place_and_what_is_left(study):
    text = "\n".join(judgment(study, in_pascals))
    for axis in study.axes:
        enough = study.limits.fewest(axis)
        assert f"{enough} bits are enough" in text
    pressure = study.limits.fewest(axis_of(study, "pressure converter"))
    assert f"The scenario's 12 leave {12 - pressure}" in text
    assert f"15-bit counts leave {15 - pressure}" in text
    gains = study.limits.fewest(axis_of(study, "gains"))
    assert f"mantissas of 14 leave {14 - gains}" in text
    # 0.5 / (8 1/s 20 ms) counts.
    assert "moves the output after 4 ticks, 0.08 s" in text
    assert "Pa" in text
    assert ("at once are enough too" in text) == (study.together.extra == 0)


def test_study_as_dict_is_json_with_units_in_its_keys(study):
    report = json.loads(json.dumps(study_as_dict(study, in_pascals)))
    for place, axis in zip(report["places"], study.axes, strict=True):
        assert place["enough_bits"] == study.limits.fewest(axis)
        bits = [trial["bits"] for trial in place["trials"]]
        assert bits == sorted(bits, reverse=True)
        largest = [trial["largest_percent"] for trial in place["trials"]]
        assert largest == [t.largest_percent for t in axis.trials.values()]
    assert report["integral"]["one_count_ticks"] == 4
    assert report["integral"]["one_count_s"] == pytest.approx(0.08)
    assert len(report["at_rest"]) == 6
    assert report["judgment"]


def test_figure_has_labels_units_and_every_place(study):
    panels = word_length_figure(study).axes
    assert len(panels) == 4
    for panel in panels:
        assert panel.get_xlabel()
        assert "%" in panel.get_ylabel()
        for line in panel.get_lines():
            assert np.isfinite(np.asarray(line.get_ydata(), dtype=float)).all()
    off, _, rest, zone = panels
    named = [text.get_text() for text in off.get_legend().get_texts()]
    assert named == PLACES
    assert len(rest.get_legend().get_texts()) == 3
    assert "remainder carried" in [t.get_text() for t in zone.get_legend().get_texts()]


def test_place_that_is_never_enough_is_said_so_and_nothing_is_tried_together(study):
    strict = replace(study, limits=Limits(1e-6, 0.0), together=None)
    text = "\n".join(judgment(strict, in_pascals))
    assert text.count("not even 1") == len(PLACES)
    assert "no fewer bits at every place" in text
    assert any("as it stands is not enough" in note for note in study_notes(strict))
    json.dumps(study_as_dict(strict, in_pascals))


def test_scenario_with_too_few_bits_is_told_so(study):
    axes = tuple(replace(axis, has=6) for axis in study.axes)
    text = "\n".join(judgment(replace(study, axes=axes), in_pascals))
    assert "The scenario's 6 are too few" in text


def test_study_of_p_alone_behind_a_reverse_command(tmp_path, capsys, monkeypatch):
    monkeypatch.setattr(wordlength_rest, "SHARES", (0.6,))
    scenario = load_scenario(lone_bag(tmp_path / "p.toml", ('ki = "8 1/s"\n', "")))
    command = replace(scenario.law.command, reverse=True)
    scenario = replace(scenario, law=replace(scenario.law, command=command))
    study = study_word_lengths(scenario, silent)
    assert [axis.name for axis in study.axes] == PLACES[:-1]
    assert study.integral is None
    assert any("reverse-acting" in note for note in study_notes(study))
    assert any("No integral" in text for text in judgment(study, in_pascals))
    assert "none" in word_length_figure(study).axes[3].get_xlabel()
    show_word_lengths(study)
    assert "No integral action" in capsys.readouterr().out


def test_study_without_a_step_is_refused(study):
    steady = replace(study.scenario, profile=Profile((0.0,), (12.0,)), ticks=50)
    with pytest.raises(InputError, match=r"profile: no step .* add one"):
        study_word_lengths(steady, silent)


def test_study_that_is_stopped_gives_nothing(study, monkeypatch):
    cut = Run(0.02, {"load_pa": np.zeros(3)})
    monkeypatch.setattr(wordlength_rest, "run_scenario", lambda *_: cut)
    with pytest.raises(KeyboardInterrupt):
        study_word_lengths(study.scenario, silent)
