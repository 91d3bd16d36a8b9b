"""Campaigns: the same results however they are run, and nothing lost."""

import importlib.util
import json
import os
import signal
import subprocess
import sys
import threading
import time
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path

import numpy as np
import pytest
from campaign_points import (
    BITS,
    GAIN,
    VOLUME,
    ask,
    ask_and_stumble,
    ask_for_nonsense,
    ask_slowly,
    campaign,
    short_scenario,
)
from required import require

from host_sim.errors import InputError
from host_sim.loop.campaign import process_pool, run_campaign
from host_sim.loop.campaign_folder import combine, list_chunks, read_failures
from host_sim.loop.campaign_point import Campaign, measure_largest_step
from host_sim.loop.campaign_space import Grid, Space, Uniform
from host_sim.loop.loop import run_scenario
from host_sim.measure.answer import measure_run

SCRIPT = """
import sys
from pathlib import Path
from campaign_points import ask_slowly, campaign
from host_sim.loop.campaign import process_pool, run_campaign

if __name__ == "__main__":
    with process_pool(2) as pool:
        run_campaign(
            campaign(ask_slowly, 64), Path(sys.argv[1]), executor=pool, chunk_points=8,
            chunks_in_flight=4,
        )
"""


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


class BrokenAtOnce(Executor):
    def submit(self, function, /, *args):
        future = Future()
        future.set_exception(BrokenProcessPool("a worker died"))
        return future


def run(asked, folder, executor=None, **options):
    with executor or ThreadPoolExecutor(2) as pool:
        return run_campaign(asked, folder, executor=pool, **options)


def assert_same(table, other):
    assert list(table) == list(other)
    for name, column in table.items():
        assert column.dtype == other[name].dtype, name
        assert column.tobytes() == other[name].tobytes(), name


def chunk_names(folder):
    return [path.name for _, _, path in list_chunks(folder)]


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
    assert asked.evaluate is measure_largest_step
    run(asked, tmp_path, ThreadPoolExecutor(1))
    table = combine(tmp_path)
    for row in (0, 1):
        point = asked.scenario_at(row)
        (step,) = measure_run(point, run_scenario(point)).steps
        for name in ("rise_time_s", "overshoot_percent", "iae_pa_s"):
            assert table[name][row] == pytest.approx(getattr(step, name), rel=1e-9)
    assert np.isnan(table["settling_1_s"]).all() == (step.settling_1_s is None)
    assert table["air_used_kg"].min() > 0.0


def test_campaign_goes_on_where_it_was_left(tmp_path, expected):
    run(campaign(), tmp_path, chunk_points=5)
    names = chunk_names(tmp_path)
    for name in (names[0], names[3], names[-1]):
        (tmp_path / name).unlink()
    summary = run(campaign(), tmp_path, chunk_points=2)
    assert summary.points_run_now == 5 + 5 + 3
    assert_same(combine(tmp_path), expected)
    assert run(campaign(), tmp_path).points_run_now == 0


def start_script(tmp_path, folder):
    script = tmp_path / "script.py"
    script.write_text(SCRIPT)
    tools = os.pathsep.join(path for path in sys.path if path)
    process = subprocess.Popen(
        [sys.executable, str(script), str(folder)],
        env={**os.environ, "PYTHONPATH": tools},
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    deadline_s = time.monotonic() + 30.0
    while not folder.exists() or len(chunk_names(folder)) < 3:
        assert time.monotonic() < deadline_s
        assert process.poll() is None, process.stderr.read()
        time.sleep(0.02)
    return process


def assert_session_ends(session):
    """Every process that the script started is gone, none merely idle."""
    deadline_s = time.monotonic() + 10.0
    while alive(session):
        assert time.monotonic() < deadline_s, f"{alive(session)} are left behind"
        time.sleep(0.05)


def alive(session):
    listed = subprocess.run(
        ["ps", "-e", "-o", "pid=,sess=,stat="],
        capture_output=True,
        text=True,
        check=True,
        timeout=10,
    )
    rows = [line.split() for line in listed.stdout.splitlines()]
    return [row[0] for row in rows if row[1] == str(session) and row[2][0] != "Z"]


@pytest.mark.skipif(os.name != "posix", reason="kills by POSIX signals")
def test_campaign_killed_loses_no_finished_chunk_and_leaves_no_process(tmp_path):
    folder = tmp_path / "r"
    process = start_script(tmp_path, folder)
    assert len(alive(process.pid)) >= 3
    process.kill()
    process.wait(10)
    process.stderr.close()
    assert_session_ends(process.pid)
    finished = {p.name: p.stat().st_mtime_ns for _, _, p in list_chunks(folder)}
    (folder / "tmpunfinished.npz").write_bytes(b"half a chunk")

    summary = run(campaign(ask_slowly, 64), folder, chunk_points=8)
    assert 0 < summary.points_run_now == 192 - 8 * len(finished)
    for name, written_ns in finished.items():
        assert (folder / name).stat().st_mtime_ns == written_ns
    assert not list(folder.glob("tmp*"))
    table = combine(folder)
    assert table["index"].tolist() == list(range(192))


@pytest.mark.skipif(os.name != "posix", reason="interrupts by POSIX signals")
def test_campaign_interrupted_keeps_what_was_running(tmp_path):
    folder = tmp_path / "r"
    process = start_script(tmp_path, folder)
    os.killpg(process.pid, signal.SIGINT)
    _, said = process.communicate(timeout=20)
    assert process.returncode == -signal.SIGINT
    assert said.count("Traceback") == said.count("KeyboardInterrupt") == 1
    assert_session_ends(process.pid)
    assert not list(folder.glob("tmp*"))
    assert 24 <= len(combine(folder)["index"]) < 192


def test_campaign_interrupted_once_keeps_every_chunk_that_was_begun(tmp_path):
    begun = []

    class Noting(ThreadPoolExecutor):
        def submit(self, function, /, *args):
            return super().submit(self.note, function, *args)

        def note(self, function, *args):
            begun.append(args)
            return function(*args)

    pressed = []

    def press(done, *_):
        if done and not pressed:
            pressed.append(done)
            raise KeyboardInterrupt

    asked = campaign(ask_slowly)
    with pytest.raises(KeyboardInterrupt):
        run(asked, tmp_path, Noting(2), chunk_points=4, progress=press)
    written = [(start, stop) for start, stop, _ in list_chunks(tmp_path)]
    assert written == sorted(begun)
    assert 2 <= len(written) < 12


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


def test_campaign_a_plant_of_nan_is_a_failure(tmp_path, monkeypatch):
    from host_sim.loop import campaign_point

    def spoiled(scenario):
        recorded = run_scenario(scenario)
        recorded.columns["load_pa"][17] = np.nan
        return recorded

    monkeypatch.setattr(campaign_point, "run_compiled", spoiled)
    asked = Campaign(short_scenario(), Space({GAIN: Grid((1.0,))}, 1, 1))
    assert run(asked, tmp_path).points_failed == 1
    (failure,) = read_failures(tmp_path)
    assert "load_pa = nan at 0.17 s" in failure.message


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


def refused(pattern, function, *args, **options):
    with pytest.raises(InputError, match=pattern) as caught:
        function(*args, **options)
    assert "\n" not in str(caught.value)


def test_campaign_refuses_another_campaigns_folder(tmp_path):
    run(campaign(), tmp_path)
    refused("space.seed is 5 there and 6 here", run, campaign(seed=6), tmp_path)
    refused("samples is 16 there and 8 here", run, campaign(samples=8), tmp_path)
    refused("evaluate is", run, campaign(ask_and_stumble), tmp_path)
    other = campaign(**{BITS: Grid((10, 12))})
    refused("bits.levels is", run, other, tmp_path)
    space = campaign().space
    turned = Space(dict(reversed(space.axes.items())), space.samples, space.seed)
    turned_round = Campaign(short_scenario(), turned, ask)
    refused("in the order", run, turned_round, tmp_path)
    changed = Campaign(campaign().scenario_at(3), space, ask)
    refused("scenario_sha256 is", run, changed, tmp_path)


def test_campaign_refuses_folders_that_it_cannot_read(tmp_path):
    refused("no manifest.json", combine, tmp_path / "none")
    run(campaign(), tmp_path / "r")
    manifest = tmp_path / "r" / "manifest.json"
    said = json.loads(manifest.read_text())
    manifest.write_text(json.dumps({**said, "layout": 99}))
    for use in (combine, lambda folder: list(read_failures(folder))):
        refused("layout 99, this program writes 1", use, tmp_path / "r")
    refused("layout 99", run, campaign(), tmp_path / "r")
    manifest.write_text("half a manif")
    refused("cannot be read", run, campaign(), tmp_path / "r")
    manifest.unlink()
    refused("without manifest.json", run, campaign(), tmp_path / "r")


def test_campaign_refuses_a_folder_that_cannot_be_written(tmp_path):
    (tmp_path / "file").write_text("")
    refused("cannot write", run, campaign(), tmp_path / "file" / "r")
    if os.path.isdir("/proc/self"):
        refused("cannot write", run, campaign(), Path("/proc/self"))


@pytest.mark.parametrize("harm", ["cut", "flip", "empty", "other"])
def test_campaign_names_a_corrupt_chunk_and_runs_it_again(tmp_path, expected, harm):
    run(campaign(), tmp_path, chunk_points=16)
    names = chunk_names(tmp_path)
    path = tmp_path / names[1]
    whole = path.read_bytes()
    flipped = bytearray(whole)
    flipped[len(whole) // 2] ^= 0xFF
    path.write_bytes(
        {
            "cut": whole[: len(whole) // 2],
            "flip": bytes(flipped),
            "empty": b"",
            "other": (tmp_path / names[0]).read_bytes(),
        }[harm]
    )
    refused(f"{names[1]}: corrupt chunk; run the campaign again", combine, tmp_path)
    summary = run(campaign(), tmp_path, chunk_points=16)
    assert summary.corrupt_chunks == (names[1],)
    assert summary.points_run_now == 16
    assert_same(combine(tmp_path), expected)


def test_campaign_refuses_what_cannot_work(tmp_path):
    hopeless = campaign(**{VOLUME: Uniform(-0.02, -0.01)})
    refused("no legal point among 48 of 48", run, hopeless, tmp_path / "r")
    assert not (tmp_path / "r").exists()
    refused("did you mean", campaign, **{"plant.load.volume_m3": Grid((0.006,))})
    refused("no name that another process", campaign, lambda scenario: {})
    refused("chunk_points: 0", run, campaign(), tmp_path, chunk_points=0)
    refused("chunks_in_flight: 0", run, campaign(), tmp_path, chunks_in_flight=0)
    refused("a worker process died", run, campaign(), tmp_path, BrokenAtOnce())


def test_campaign_pool_of_its_own_spares_its_workers_ctrl_c():
    with process_pool(1) as pool:
        handler = pool.submit(signal.getsignal, signal.SIGINT).result(30)
    assert handler == signal.SIG_IGN
