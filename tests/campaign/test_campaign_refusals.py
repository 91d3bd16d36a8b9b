"""Campaigns that cannot work: one line, with the remedy."""

import json
import os
from concurrent.futures import Executor, Future
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path

from campaign_points import (
    BITS,
    VOLUME,
    ask,
    ask_and_stumble,
    campaign,
    short_scenario,
)
from campaign_tools import refused, run

from host_sim.campaign.folder import combine, read_failures
from host_sim.campaign.point import Campaign
from host_sim.campaign.space import Grid, Space, Uniform


class BrokenAtOnce(Executor):
    def submit(self, function, /, *args):
        future = Future()
        future.set_exception(BrokenProcessPool("a worker died"))
        return future


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


def test_campaign_refuses_what_cannot_work(tmp_path):
    hopeless = campaign(**{VOLUME: Uniform(-0.02, -0.01)})
    refused("no legal point among 48 of 48", run, hopeless, tmp_path / "r")
    assert not (tmp_path / "r").exists()
    refused("did you mean", campaign, **{"plant.load.volume_m3": Grid((0.006,))})
    refused("no name that another process", campaign, lambda scenario: {})
    refused("chunk_points: 0", run, campaign(), tmp_path, chunk_points=0)
    refused("chunks_in_flight: 0", run, campaign(), tmp_path, chunks_in_flight=0)
    refused("a worker process died", run, campaign(), tmp_path, BrokenAtOnce())
