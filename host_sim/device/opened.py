"""From the name that a user gives to the line behind it."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress

from host_sim.device.device_block import device_block
from host_sim.device.device_law import DeviceLaw
from host_sim.device.line import Line
from host_sim.device.line_in_process import InProcessLine
from host_sim.device.link import DeviceLink
from host_sim.errors import InputError
from host_sim.scenario.load import Scenario

NAMES = ("model", "unix", "emulated")


def open_line(name: str, tick_us: int, in_step: bool = True) -> Line:
    """Open a line, or start what stands in for a board.

    Parameters
    ----------
    name : str
        ``"model"``, ``"unix"``, ``"emulated"``, or a serial port.
    tick_us : int
        For what is started here: the tick that it is made for [us].
    in_step : bool
        For what is started here: ticks by requests, or by its own clock.

    Raises
    ------
    InputError
        In one line: what is missing, busy or not allowed, and the remedy.
    """
    if not in_step and name in ("model", "emulated"):
        raise InputError(
            f"{name}: has no clock of its own; run it in step, or take unix or a board"
        )
    if name == "model":
        return InProcessLine(tick_us)
    # Only who needs an emulator or a serial port pays for importing it.
    if name == "emulated":
        from host_sim.device.line_emulated import EmulatedLine  # noqa: PLC0415

        return EmulatedLine(tick_us)
    if name == "unix":
        from host_sim.device.line_unix import UnixLine  # noqa: PLC0415

        # With a clock of its own it has a console on the same line.
        return UnixLine(tick_us, in_step, text=not in_step)
    try:
        from host_sim.device.line_port import PortLine  # noqa: PLC0415
    except ImportError:
        raise InputError(
            f"{name}: pyserial is missing: pip install 'integer-pilot[board]'"
        ) from None
    return PortLine(name)


@contextmanager
def opened_law(name: str, scenario: Scenario) -> Iterator[Callable[[], DeviceLaw]]:
    """Open a device in step; close it afterwards, its own parameters restored.

    Parameters
    ----------
    name : str
        As for `open_line`.
    scenario : Scenario
        Its parameters are given to the device, unsaved.

    Yields
    ------
    callable
        Makes the device start anew, as after power-up, and gives its law.

    Raises
    ------
    InputError
    """
    tick_us = round(scenario.law.tick_s * 1e6)
    with DeviceLink(open_line(name, tick_us)) as link:
        link.require_clock(own=False)
        laws: list[DeviceLaw] = []

        def make() -> DeviceLaw:
            laws[:] = [DeviceLaw(link, device_block(scenario))]
            return laws[0]

        yield make
        # A device that has died cannot be given anything back.
        with suppress(InputError):
            for law in laws:
                law.release()


@contextmanager
def opened_device(name: str, scenario: Scenario) -> Iterator[DeviceLaw]:
    """Open a device with a scenario's parameters, in step; close it afterwards.

    Parameters
    ----------
    name : str
        As for `open_line`.
    scenario : Scenario

    Yields
    ------
    DeviceLaw

    Raises
    ------
    InputError
    """
    with opened_law(name, scenario) as make:
        yield make()
