"""Campaign spaces: declared distributions, whole grids, the same piece by piece."""

import math

import numpy as np
import pytest
from campaign_points import BITS, GAIN, short_scenario
from scipy import stats

from host_sim.campaign.paths import (
    check_path,
    check_range,
    numeric_paths,
    replace_at,
)
from host_sim.campaign.point import Campaign
from host_sim.campaign.space import (
    HYPERCUBE,
    Grid,
    LogUniform,
    Normal,
    Space,
    Uniform,
    noise_seed,
)
from host_sim.errors import InputError
from host_sim.loop.loop import run_scenario

SAMPLERS = ["sobol", "latin hypercube"]

# Distribution, and the same one by scipy.
DISTRIBUTIONS = [
    (Uniform(2.0, 5.0), stats.uniform(2.0, 3.0)),
    (LogUniform(0.01, 10.0), stats.loguniform(0.01, 10.0)),
    (Normal(3.0, 0.5), stats.norm(3.0, 0.5)),
    (Normal(3.0, 0.5, 2.8, 4.5), stats.truncnorm(-0.4, 3.0, 3.0, 0.5)),
    (Normal(3.0, 0.5, high=3.0), stats.truncnorm(-np.inf, 0.0, 3.0, 0.5)),
]


@pytest.mark.parametrize("sampler", SAMPLERS)
@pytest.mark.parametrize(("axis", "known"), DISTRIBUTIONS)
def test_campaign_space_draws_the_declared_distribution(axis, known, sampler):
    space = Space({"first": Uniform(0.0, 1.0), "axis": axis}, 2048, 11, sampler)
    drawn = space.draw(0, 2048)[:, 1]
    # 2048 random points would be about 0.02 away, evenly spread ones 1 / 2048.
    assert stats.kstest(drawn, known.cdf).statistic < 1.1 / 2048
    assert drawn.mean() == pytest.approx(known.mean(), rel=2e-3)
    assert drawn.std() == pytest.approx(known.std(), rel=5e-3)


@pytest.mark.parametrize("sampler", SAMPLERS)
def test_campaign_space_axes_are_independent(sampler):
    space = Space({"a": Uniform(0, 1), "b": Uniform(0, 1)}, 1024, 2, sampler)
    a, b = space.draw(0, 1024).T
    # Two in 1024 pairs of independent columns of random points exceed 0.1.
    assert abs(np.corrcoef(a, b)[0, 1]) < 0.1


def test_campaign_space_sobol_beats_random_points_in_two_dimensions():
    space = Space({"a": Uniform(0, 1), "b": Uniform(0, 1)}, 1024, 2)
    a, b = space.draw(0, 1024).T
    cells = np.histogram2d(a, b, 32, ((0, 1), (0, 1)))[0]
    # A digital (0, 2)-net has exactly one point in each of 1024 square cells.
    assert (cells == 1).all()


def test_campaign_space_latin_hypercube_has_one_point_a_slice():
    samples = HYPERCUBE + 10
    axes = {"a": Uniform(0, 1), "b": Uniform(0, 1)}
    drawn = Space(axes, samples, 3, "latin hypercube").draw(0, samples)
    for block in (drawn[:HYPERCUBE], drawn[HYPERCUBE:]):
        for column in block.T:
            slices = np.floor(column * len(block)).astype(int)
            assert sorted(slices) == list(range(len(block)))


@pytest.mark.parametrize("sampler", SAMPLERS)
def test_campaign_space_is_the_same_piece_by_piece(sampler):
    axes = {"g": Grid((1, 2, 3)), "a": Normal(0, 1), "h": Grid((5, 6))}
    space = Space(axes, HYPERCUBE + 50, 9, sampler)
    whole = space.draw(0, space.count)
    random = np.random.default_rng(1)
    for start in (0, 1, *random.integers(0, space.count, 20).tolist(), 24_570):
        stop = min(start + int(random.integers(1, 60)), space.count)
        assert space.draw(start, stop).tobytes() == whole[start:stop].tobytes()


def test_campaign_space_combines_grids_on_equal_draws():
    axes = {"g": Grid((1, 2, 3)), "a": Uniform(0, 1), "h": Grid((5, 6))}
    space = Space(axes, 8, 4)
    assert space.count == 48
    drawn = space.draw(0, 48)
    for g in (1, 2, 3):
        for h in (5, 6):
            rows = drawn[(drawn[:, 0] == g) & (drawn[:, 2] == h)]
            assert rows[:, 1].tolist() == drawn[::6, 1].tolist()
    assert len(set(drawn[:, 1])) == 8


def test_campaign_space_of_grids_alone_repeats_with_other_noise():
    asked = Campaign(short_scenario(), Space({GAIN: Grid((1.0, 2.0))}, 3, 4))
    points = [asked.scenario_at(index) for index in range(6)]
    assert [p.law.pid.gains.kp for p in points] == [1.0, 2.0] * 3
    assert len({p.plant.sensing.seed for p in points}) == 6
    first, other = run_scenario(points[0]), run_scenario(points[2])
    assert first.columns["load_pa"].tolist() != other.columns["load_pa"].tolist()


def test_campaign_space_seeds_differ_and_are_exact_in_float():
    seeds = [noise_seed(campaign, k) for campaign in (0, 1) for k in range(2000)]
    assert len(set(seeds)) == 4000
    assert all(int(float(seed)) == seed < 2**53 for seed in seeds)
    other = Space({"a": Uniform(0, 1)}, 8, 1).draw(0, 8)
    assert other.tolist() != Space({"a": Uniform(0, 1)}, 8, 2).draw(0, 8).tolist()


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda: Uniform(2.0, 2.0), "low below high"),
        (lambda: Uniform(0.0, math.inf), "Uniform: .* finite"),
        (lambda: LogUniform(0.0, 1.0), "no logarithm"),
        (lambda: Normal(0.0, 0.0), "deviation above 0"),
        (lambda: Normal(0.0, 1.0, 2.0, 1.0), "nothing lies between"),
        (lambda: Normal(0.0, 1.0, 50.0), "between 50.0 and None"),
        (lambda: Grid(()), "one or more"),
        (lambda: Grid((math.nan,)), "finite"),
        (lambda: Space({}, 1, 0), "no axis"),
        (lambda: Space({"a": Grid((1,))}, 0, 0), "ask for 1 or more"),
        (lambda: Space({"a": Grid((1,))}, 1, -1), "seed -1"),
        (lambda: Space({"a": Grid((1,))}, 1, 0, "halton"), "write 'sobol'"),
    ],
)
def test_campaign_space_refuses_what_it_cannot_draw(make, said):
    with pytest.raises(InputError, match=said):
        make()


def test_campaign_paths_lead_to_the_number_they_name():
    scenario = short_scenario()
    for path, kind in numeric_paths(scenario).items():
        changed = replace_at(scenario, path, kind(1234))
        node = changed
        for name in path.split("."):
            node = node[int(name)] if isinstance(node, tuple) else getattr(node, name)
        assert node == kind(1234)
        assert replace_at(changed, path, number_at(scenario, path)) == scenario


def number_at(settings, path):
    for name in path.split("."):
        place = isinstance(settings, tuple)
        settings = settings[int(name)] if place else getattr(settings, name)
    return settings


def test_campaign_paths_of_the_shipped_scenario_are_within_their_ranges():
    """A key of another quantity would refuse some of these numbers."""
    scenario = short_scenario()
    described = 0
    for path in numeric_paths(scenario):
        number = number_at(scenario, path)
        if number is not None and math.isfinite(number):
            check_range(path, number)
            try:
                check_range(path, 1e12)
            except InputError:
                described += 1
    assert described > 60


@pytest.mark.parametrize(
    ("path", "number"),
    [
        ("plant.arrangement.supply.pressure_pa", -1.0),
        ("plant.arrangement.supply.ripple_hz", 101.0),
        ("plant.arrangement.load.start_pressure_pa", 6e6),
        ("plant.arrangement.booster.dead_band", 0.95),
        ("plant.arrangement.pilot.lag_s", 0.0),
        ("plant.arrangement.air.gamma", 1.0),
        ("plant.sensing.pressure.bits", 16),
        ("law.pid.gains.ki_per_s", -0.1),
        ("law.tick_s", 2.0),
        ("duration_s", math.nan),
    ],
)
def test_campaign_paths_refuse_illegal_numbers(path, number):
    assert path in numeric_paths(short_scenario())
    with pytest.raises(InputError, match=path):
        check_range(path, number)


@pytest.mark.parametrize(
    ("path", "nearest"),
    [
        ("law.pid.gain.kp", "law.pid.gains.kp"),
        ("plant.load.volume_m3", "plant.arrangement.load.volume_m3"),
        ("law.command.reverse", "law.command"),
        ("plant.arrangement.supply.presure_pa", "supply.pressure_pa"),
        ("ticks", "tick_s"),
    ],
)
def test_campaign_paths_name_the_nearest(path, nearest):
    with pytest.raises(InputError, match=f"did you mean '.*{nearest}"):
        check_path(path, numeric_paths(short_scenario()))


def test_campaign_whole_numbers_are_rounded_and_the_clock_stays_true():
    axes = {BITS: Uniform(9.6, 12.4), "law.tick_s": Grid((0.01, 0.02))}
    asked = Campaign(short_scenario(), Space(axes, 16, 1), evaluate_ticks)
    columns = asked.run_chunk(0, 32)
    assert set(columns[BITS]) == {10.0, 11.0, 12.0}
    assert columns["ticks"].tolist() == [200.0, 100.0] * 16


def evaluate_ticks(scenario):
    assert isinstance(scenario.plant.sensing.pressure.bits, int)
    return {"ticks": scenario.ticks}
