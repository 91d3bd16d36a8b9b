"""The closed loop with a device: a scenario's plant here, its decisions there."""

from collections.abc import Callable
from dataclasses import asdict, dataclass
from time import monotonic
from typing import Any

from host_sim.device.device_block import device_block
from host_sim.device.device_law import DeviceLaw
from host_sim.device.line import LineLostError
from host_sim.device.link import DeviceLink, Identity
from host_sim.device.supervised import labels
from host_sim.loop.loop import Loop
from host_sim.loop.record import Run
from host_sim.measure.study import Study, study_as_dict, study_run
from host_sim.scenario.load import Scenario
from host_sim.scenario.profile import currents_ma


@dataclass(frozen=True)
class DeviceStudy:
    """A scenario run with a device.

    Attributes
    ----------
    name : str
        What the user called the device.
    identity : Identity
    study : Study
        As of a run without a device; shorter where the line was lost.
    ticks_per_s : float
        Plant included [1/s].
    repeated : int
        Requests sent again.
    bad_frames, strays : int
        Frames that came broken, and answers to what was past.
    late_ticks : int
        Of this loop, where the device ticks by its own clock.
    held : tuple of str
        Faults that counted at the end.
    lost : str, optional
        How the line was lost.
    """

    name: str
    identity: Identity
    study: Study
    ticks_per_s: float
    repeated: int
    bad_frames: int
    strays: int
    late_ticks: int
    held: tuple[str, ...]
    lost: str | None


def run_with_device(
    scenario: Scenario,
    link: DeviceLink,
    each_tick: Callable[[int], None] | None = None,
) -> DeviceStudy:
    """Run a scenario with a device in the place of the law.

    Parameters
    ----------
    scenario : Scenario
    link : DeviceLink
        Open.
    each_tick : callable, optional
        Called with the number of ticks done, also of the float reference.

    Returns
    -------
    DeviceStudy

    Raises
    ------
    InputError
        The device refuses, is silent, or the line was lost before the first tick.
    """
    law = DeviceLaw(link, device_block(scenario))
    began_s = monotonic()
    run, lost = _run(scenario, law, each_tick)
    took_s = monotonic() - began_s
    if lost is None:
        law.release()
    return DeviceStudy(
        name=link.line.name,
        identity=link.identity,
        study=study_run(scenario, run, each_tick),
        ticks_per_s=run.ticks / took_s,
        repeated=link.repeated,
        bad_frames=link.bad_frames,
        strays=link.strays,
        late_ticks=law.late_ticks,
        held=labels(law.answer.HELD if law.answer else 0),
        lost=lost,
    )


def _run(
    scenario: Scenario, law: DeviceLaw, each_tick: Callable[[int], None] | None
) -> tuple[Run, str | None]:
    loop = Loop.of(scenario, law)
    currents = currents_ma(scenario.profile, scenario.law.tick_s, scenario.ticks)
    try:
        return loop.run(currents, each_tick), None
    except LineLostError as error:
        if not loop.tick:
            raise
        return loop.recorder.run(loop.plant.tick_s), str(error)


def device_study_as_dict(done: DeviceStudy) -> dict[str, Any]:
    """Turn it into plain numbers and words, units in the keys."""
    return {
        "device": {
            "name": done.name,
            **asdict(done.identity),
            "ticks_per_s": done.ticks_per_s,
            "frames_repeated": done.repeated,
            "frames_bad": done.bad_frames,
            "answers_dropped": done.strays,
            "late_ticks": done.late_ticks,
            "faults_held": list(done.held),
            "lost": done.lost,
        },
        **study_as_dict(done.study),
    }
