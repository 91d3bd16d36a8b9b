"""Campaigns: the same results however they are run, and every point kept."""

import importlib.util
import threading
import time
from concurrent.futures import Executor, Future, ThreadPoolExecutor

import numpy as np
import pytest
from campaign_points import (
    BITS,
    GAIN,
    VOLUME,
    ask_and_stumble,
    ask_for_nonsense,
    campaign,
    short_scenario,
)
from campaign_tools import assert_same, run
from required import require

from host_sim.campaign.folder import combine, read_failures
from host_sim.campaign.point import Campaign
from host_sim.campaign.run import run_campaign
from host_sim.campaign.space import Grid, Space, Uniform
from host_sim.loop.loop import run_scenario
from host_sim.loop.rig import make_rig
from host_sim.measure.answer import measure_run
from host_sim.plant import layout


class Backwards(Executor):
    """Does the newest of the waiting tasks first."""

    def __init__(self):
        self.order, self._tasks = [], []
        self._thread = threading.Thread(target=self._work, daemon=True)
        self._thread.start()

    def submit(self, function, /, *args):
        future = Future()
        self._tasks.append((future, function, args))
        return future

    def _work(self):
        while True:
            time.sleep(0.02)
            while self._tasks:
                future, function, args = self._tasks.pop()
                self.order.append(args[0])
                future.set_result(function(*args))


@pytest.fixture(scope="module")
def expected(tmp_path_factory):
    folder = tmp_path_factory.mktemp("expected")
    run(campaign(), folder, chunk_points=48)
    return combine(folder)


def test_campaign_table_holds_every_point_and_its_answer(expected):
    assert expected["index"].tolist() == list(range(48))
    assert len(set(expected["noise_seed"].tolist())) == 48
    assert expected["volume_l"] == pytest.approx(1000 * expected[VOLUME])
    low = expected["noise_seed"] % 1000
    assert expected["noise_seed_low"].tolist() == low.tolist()
    assert not expected["failed"].any()


@pytest.mark.parametrize("chunk_points", [1, 7, 1000])
def test_campaign_chunk_size_changes_nothing(tmp_path, expected, chunk_points):
    run(campaign(), tmp_path / "r", chunk_points=chunk_points)
    assert_same(combine(tmp_path / "r"), expected)


def test_campaign_order_changes_nothing(tmp_path, expected):
    backwards = Backwards()
    run(campaign(), tmp_path, backwards, chunk_points=5, chunks_in_flight=4)
    assert backwards.order != sorted(backwards.order)
    assert_same(combine(tmp_path), expected)


def test_campaign_own_process_pool_changes_nothing(tmp_path, expected):
    summary = run_campaign(campaign(), tmp_path, chunk_points=10)
    assert (summary.points, summary.points_run_now) == (48, 48)
    assert_same(combine(tmp_path), expected)


def test_campaign_dask_changes_nothing(tmp_path, expected):
    missing = "" if importlib.util.find_spec("distributed") else "dask[distributed]"
    require(missing, "pip install integer-pilot[cluster]")
    from dask.distributed import Client, LocalCluster

    with (
        LocalCluster(
            n_workers=2,
            threads_per_worker=1,
            dashboard_address=None,
            local_directory=str(tmp_path / "dask"),
        ) as cluster,
        Client(cluster) as client,
    ):
        run_campaign(
            campaign(),
            tmp_path / "r",
            executor=client.get_executor(),
            chunk_points=6,
        )
    assert_same(combine(tmp_path / "r"), expected)


def test_campaign_measures_the_largest_step_by_default(tmp_path):
    scenario = short_scenario()
    asked = Campaign(scenario, Space({GAIN: Uniform(1.0, 2.0)}, 2, 1))
    run(asked, tmp_path, ThreadPoolExecutor(1))
    table = combine(tmp_path)
    for row in (0, 1):
        point = asked.scenario_at(row)
        (step,) = measure_run(point, run_scenario(point)).steps
        for name in ("rise_time_s", "overshoot_percent", "iae_pa_s"):
            assert table[name][row] == pytest.approx(getattr(step, name), rel=1e-9)
    assert np.isnan(table["settling_1_s"]).all() == (step.settling_1_s is None)
    assert table["air_used_kg"].min() > 0.0


def test_campaign_keeps_points_that_fail_and_goes_on(tmp_path):
    asked = campaign(ask_and_stumble)
    summary = run(asked, tmp_path, chunk_points=4)
    table = combine(tmp_path)
    stumbled = table[VOLUME] > 0.006
    assert 0 < summary.points_failed == stumbled.sum() < 48
    assert table["failed"].tolist() == stumbled.tolist()
    assert np.isnan(table["volume_l"]).tolist() == stumbled.tolist()
    failures = list(read_failures(tmp_path))
    assert [f.index for f in failures] == np.flatnonzero(stumbled).tolist()
    first = failures[0]
    assert first.message == "ZeroDivisionError: a made up fault"
    point = asked.scenario_at(first.index)
    assert first.parameters[VOLUME] == point.plant.arrangement.load.volume_m3
    assert first.parameters[BITS] == point.plant.sensing.pressure.bits
    assert first.noise_seed == point.plant.sensing.seed
    assert "\n" not in str(first)
    assert repr(first.parameters[VOLUME]) in str(first)


def test_campaign_keeps_illegal_points_and_wrong_answers(tmp_path):
    illegal = campaign(**{VOLUME: Uniform(-0.01, 0.01)})
    assert 0 < run(illegal, tmp_path / "a").points_failed < 48
    said = {failure.message for failure in read_failures(tmp_path / "a")}
    assert all("outside the allowed range 1e-7 ... 1000 m3" in text for text in said)
    wrong = run(campaign(ask_for_nonsense), tmp_path / "b")
    assert wrong.points_failed == 48


def test_campaign_a_plant_of_nan_is_a_failure_and_harms_no_neighbour(
    tmp_path, monkeypatch
):
    from host_sim.campaign import point as campaign_point

    gains = (1.0, 1.5, 2.0)
    asked = Campaign(short_scenario(), Space({GAIN: Grid(gains)}, 1, 1))
    run(asked, tmp_path / "sound", ThreadPoolExecutor(1))
    sound = combine(tmp_path / "sound")

    def spoiled(scenario):
        rig = make_rig(scenario)
        if scenario.law.pid.gains.kp == 1.5:
            rig.body["state"][layout.LOAD] = np.nan
        return rig

    monkeypatch.setattr(campaign_point, "make_rig", spoiled)
    run(asked, tmp_path / "spoiled", ThreadPoolExecutor(1))
    table = combine(tmp_path / "spoiled")
    assert table["failed"].tolist() == [0, 1, 0]
    (failure,) = read_failures(tmp_path / "spoiled")
    assert "not finite" in failure.message
    assert repr(failure.parameters[GAIN]) in str(failure)
    for name in ("rise_time_s", "iae_pa_s", "air_used_kg"):
        assert table[name][[0, 2]].tolist() == sound[name][[0, 2]].tolist()


def test_campaign_tells_its_progress(tmp_path):
    told = []
    run(campaign(), tmp_path, chunk_points=12, progress=lambda *what: told.append(what))
    assert [(done, total) for done, total, _, _ in told] == [
        (done, 48) for done in (0, 12, 24, 36, 48)
    ]
    assert told[0][2:] == (0.0, np.inf)
    assert told[2][2] > 0.0
    assert told[2][3] == pytest.approx(24 / told[2][2])
    assert told[-1][3] == 0.0
