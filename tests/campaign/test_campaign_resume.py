"""Campaigns that were stopped: nothing finished is lost, nothing is left behind."""

import contextlib
import os
import signal
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor

import pytest
from campaign_points import (
    ask_slowly,
    campaign,
)
from campaign_tools import assert_same, chunk_names, refused, run

from host_sim.campaign.folder import combine, list_chunks
from host_sim.campaign.run import process_pool

SCRIPT = """
import sys
from pathlib import Path
from campaign_points import ask_slowly, campaign
from host_sim.campaign.run import process_pool, run_campaign

if __name__ == "__main__":
    with process_pool(2) as pool:
        run_campaign(
            campaign(ask_slowly, 64), Path(sys.argv[1]), executor=pool, chunk_points=8,
            chunks_in_flight=4,
        )
"""


@pytest.fixture(scope="module")
def expected(tmp_path_factory):
    folder = tmp_path_factory.mktemp("expected")
    run(campaign(), folder, chunk_points=48)
    return combine(folder)


def test_campaign_goes_on_where_it_was_left(tmp_path, expected):
    run(campaign(), tmp_path, chunk_points=5)
    names = chunk_names(tmp_path)
    for name in (names[0], names[3], names[-1]):
        (tmp_path / name).unlink()
    summary = run(campaign(), tmp_path, chunk_points=2)
    assert summary.points_run_now == 5 + 5 + 3
    assert_same(combine(tmp_path), expected)
    assert run(campaign(), tmp_path).points_run_now == 0


@pytest.fixture
def script(tmp_path):
    """A campaign in a session of its own that has finished three chunks."""
    source, folder = tmp_path / "script.py", tmp_path / "r"
    source.write_text(SCRIPT)
    tools = os.pathsep.join(path for path in sys.path if path)
    process = subprocess.Popen(
        [sys.executable, str(source), str(folder)],
        env={**os.environ, "PYTHONPATH": tools},
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    try:
        deadline_s = time.monotonic() + 30.0
        while not folder.exists() or len(chunk_names(folder)) < 3:
            assert time.monotonic() < deadline_s
            assert process.poll() is None, process.stderr.read()
            time.sleep(0.02)
        yield process, folder
    finally:
        with contextlib.suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)
        process.wait(10)
        process.stderr.close()


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
def test_campaign_killed_loses_no_finished_chunk_and_leaves_no_process(script):
    process, folder = script
    assert len(alive(process.pid)) >= 3
    process.kill()
    process.wait(10)
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
def test_campaign_interrupted_ends_in_order(script):
    process, folder = script
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
    summary = run(campaign(), tmp_path, chunk_points=9)
    assert summary.corrupt_chunks == (names[1],)
    assert not path.exists()
    assert summary.points_run_now == 16
    assert_same(combine(tmp_path), expected)


def test_campaign_pool_of_its_own_spares_its_workers_ctrl_c():
    with process_pool(1) as pool:
        handler = pool.submit(signal.getsignal, signal.SIGINT).result(30)
    assert handler == signal.SIG_IGN
