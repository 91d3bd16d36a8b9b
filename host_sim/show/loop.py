"""The report of a loop with a device: who it was, then the study."""

from host_sim.device.closed_loop import DeviceStudy
from host_sim.device.link import Identity
from host_sim.show.tables import console, show_study


def identity_text(name: str, identity: Identity) -> str:
    """Say in one line who a device is.

    >>> identity_text("a", Identity("0.1.0", 2, 64, 113, 256, 10_000, True, True, True))
    'a: firmware 0.1.0, layout 2, tick 10000 us, in step, supervised'
    """
    who = "in step" if identity.in_step else "by its own clock"
    around = "supervised" if identity.supervised else "the law alone"
    return (
        f"{name}: firmware {identity.firmware}, layout {identity.layout}, tick "
        f"{identity.tick_us} us, {who}, {around}"
    )


def show_device_study(done: DeviceStudy) -> None:
    """Print the device's lines, then the report of its run."""
    out = console()
    out.print(f"device {identity_text(done.name, done.identity)}")
    out.print(
        f"{done.ticks_per_s:.0f} ticks/s with the plant; frames repeated "
        f"{done.repeated}, broken {done.bad_frames}, answers dropped {done.strays}"
    )
    if not done.identity.in_step:
        out.print(f"late ticks of this computer: {done.late_ticks}")
    if done.held:
        out.print(f"faults at the end: {', '.join(done.held)}")
    if done.lost:
        out.print(f"run cut short: {done.lost}")
    out.print()
    show_study(done.study)
