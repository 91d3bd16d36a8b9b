"""The board's package onto a board, by mpremote, from this installation."""

import json
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import firmware_model
from host_sim.device.line_port import open_port
from host_sim.errors import InputError
from host_sim.prove.engine import lacking

PACKAGE = Path(firmware_model.__file__).with_name("package.json")
TIMEOUT_S = 300.0
_REMEDY = (
    "mpremote needs a board with MicroPython's prompt; connect one, stop what runs on "
    "it, and try again"
)


@dataclass(frozen=True)
class Installed:
    """What was copied, and in whose words.

    Attributes
    ----------
    files : list of str
        Paths on the board, below its library folder.
    said : str
        mpremote's own output.
    """

    files: list[str]
    said: str


def install(port: str) -> Installed:
    """Copy the board's package with `mpremote mip install`.

    Parameters
    ----------
    port : str

    Returns
    -------
    Installed

    Raises
    ------
    InputError
        No mpremote, no such port, busy, no permission, or mpremote's last words.
    """
    if missing := lacking((), ("mpremote",)):
        raise InputError(f"{missing} is missing: pip install mpremote")
    # Its own refusals of a port are many lines.
    open_port(port).close()
    command = [sys.executable, "-m", "mpremote", "connect", port, "mip", "install"]
    try:
        done = subprocess.run(
            [*command, str(PACKAGE)],
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            timeout=TIMEOUT_S,
            check=False,
        )
    except subprocess.TimeoutExpired:
        raise InputError(
            f"{port}: not done within {TIMEOUT_S:g} s; {_REMEDY}"
        ) from None
    if done.returncode:
        said = (done.stderr.strip() or done.stdout.strip()).splitlines()
        words = said[-1] if said else f"exit code {done.returncode}"
        raise InputError(f"{port}: mpremote: {words}; {_REMEDY}")
    urls = json.loads(PACKAGE.read_text())["urls"]
    return Installed([target for target, _ in urls], done.stdout.strip())
