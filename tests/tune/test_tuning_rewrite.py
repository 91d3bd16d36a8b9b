"""The written scenario: the very block of the law, and the user's own text."""

import os
import tomllib
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scenario_texts import BAG
from tuning_checks import check_rewritten

from host_sim.law.block import FULL
from host_sim.law.quantise import quantise
from host_sim.scenario.load import load_scenario, shipped_scenario_path
from host_sim.tune.choice import Choice, rounded
from host_sim.tune.rewrite import block_as_dict, retuned_text

PARALLEL = "[controller.parallel]\nkp = 6\n"
IDEAL = "[controller.ideal]\nkc = 6\n"
HEAD = '[controller]\ndeadband = "10 mbar"\ntracking = "1 s"\n\n'
OLD = HEAD + PARALLEL + 'ki = "0.5 1/s"\n'
CONTROLLERS = {
    "parallel": OLD,
    "ideal": HEAD + IDEAL + 'ti = "2 s"\n',
    "ideal without head": IDEAL,
    "head after": f"{PARALLEL}\n[command]\nramp_up = '50 %/s'\n\n{HEAD}",
    "dotted": "[controller]\nideal.kc = 6 # by hand\nideal.ti = '2 s'\ndwell = '1 s'\n",
    "inline": "[controller]\nparallel = { kp = 6 }\ndwell = '1 s'\n",
    "divisor alone": f"{IDEAL}td = '0.1 s'\n\n"
    "[command]\nramp_up = '50 %/s'\n\n[controller]\nderivative_divisor = 4\n",
}
"""The same table as people write it."""
EXAMPLES = 200 if os.environ.get("HYPOTHESIS_PROFILE") in ("ci", "deep") else 25
RETUNED = {
    "controller": {
        "weight",
        "derivative_filter",
        "derivative_divisor",
        "tracking",
        "deadband",
        "deadband_hysteresis",
        "ideal",
        "parallel",
    },
    "supply_compensation": {"strength"},
}


def few_digits(low, high):
    return st.floats(low, high).map(rounded)


CHOICES = st.builds(
    Choice,
    kc=few_digits(0.05, 50.0),
    ti_s=few_digits(0.02, 100.0),
    td_s=few_digits(0.001, 2.0),
    filter_s=few_digits(1e-4, 1.0),
    tracking_s=few_digits(0.02, 10.0),
    weight=few_digits(0.0, 1.0),
    deadband=st.integers(0, 500).map(lambda count: count / FULL),
    strength=few_digits(0.0, 1.0),
)
WORDS = st.text("abc [=]#\"'{}", max_size=12)


@st.composite
def files(draw):
    """A scenario with comments of all kinds anywhere; returns them too."""
    text = BAG.replace(OLD, CONTROLLERS[draw(st.sampled_from(sorted(CONTROLLERS)))])
    lines, comments = [], []
    kinds = draw(st.randoms(use_true_random=False))
    words = draw(st.lists(WORDS, min_size=4, max_size=4))
    for number, line in enumerate(text.splitlines()):
        kind = kinds.choice(["none", "none", "above", "beside"])
        comment = f"# remark {number} {words[number % 4]}".rstrip()
        removed = line.startswith("derivative_divisor")
        if kind == "above":
            lines.append(comment)
        if kind != "none" and not (kind == "beside" and (removed or not line)):
            comments.append(comment)
        lines.append(f"{line}  {comment}" if kind == "beside" and line else line)
    return "\n".join(lines) + "\n", comments


def others(text):
    """All that no tuning writes."""
    document = tomllib.loads(text)
    for table, keys in RETUNED.items():
        kept = {k: v for k, v in document.get(table, {}).items() if k not in keys}
        document[table] = kept
    return document


@settings(
    max_examples=EXAMPLES,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(written=files(), choice=CHOICES)
def test_rewrite_keeps_comments_and_all_other_keys(written, choice, tmp_path):
    text, comments = written
    path, target = tmp_path / "press.toml", tmp_path / "tuned.toml"
    path.write_text(text, encoding="utf-8")
    law = choice.law(load_scenario(path).law)
    check_rewritten(path, law, target)
    retuned = target.read_text(encoding="utf-8")
    assert others(retuned) == others(text)
    # In their order, each as often as it stood there.
    remarks = [
        line[line.index("# remark") :]
        for line in retuned.splitlines()
        if "# remark" in line
    ]
    assert sorted(remarks) == sorted(comments)


@pytest.mark.parametrize("name", CONTROLLERS)
def test_rewrite_keeps_the_form_that_the_gains_have(name, tmp_path):
    path = tmp_path / "press.toml"
    path.write_text(BAG.replace(OLD, CONTROLLERS[name]), encoding="utf-8")
    form = "ideal" if "ideal" in CONTROLLERS[name] else "parallel"
    choice = Choice(2.0, 0.5, 0.05, 0.01, 0.2, 0.5, 0.001, 0.3)
    law = choice.law(load_scenario(path).law)
    controller = tomllib.loads(retuned_text(path, law, path))["controller"]
    gains = {
        "ideal": {"kc": 2.0, "ti": "0.5 s", "td": "0.05 s"},
        "parallel": {"kp": 2.0, "ki": "4.0 1/s", "kd": "0.1 s"},
    }
    assert controller[form] == gains[form]
    assert ("ideal" in controller) != ("parallel" in controller)
    assert "derivative_divisor" not in controller


def test_rewrite_names_a_recording_from_where_the_file_will_stand(tmp_path):
    path = shipped_scenario_path("press_bag_recorded.toml")
    scenario = load_scenario(path)
    target = tmp_path / "deeper" / "tuned.toml"
    target.parent.mkdir()
    target.write_text(retuned_text(path, scenario.law, target), encoding="utf-8")
    assert load_scenario(target).profile == scenario.profile


def test_rewrite_block_is_every_parameter_of_the_board():
    law = load_scenario(shipped_scenario_path()).law
    written = block_as_dict(law)
    kept = quantise(law)
    assert written["tick_s"] == law.tick_s
    assert list(written["words"].values()) == kept.words.tolist()
    assert (
        written["words"]
        != block_as_dict(replace(law, pid=replace(law.pid, deadband=0.01)))["words"]
    )
