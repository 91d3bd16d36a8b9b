"""One small interface over everything on which the law can run.

An engine replays a file of episodes (`host_sim.prove.replay`) and returns its
lines. One that a machine lacks says why, and how to get it.
"""

import importlib.util
import shutil
import subprocess
import sysconfig
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

TIMEOUT_S = 900


class EngineError(RuntimeError):
    """An engine stopped before it had finished, with its own last words."""


@dataclass(frozen=True)
class Engine:
    """A way to run the law.

    Attributes
    ----------
    name : str
    remedy : str
        How to get what it needs.
    missing : Callable
        What it needs and does not find; empty when it can run.
    run : Callable
        ``run(path, law)``: replay a file with the law ``"law"`` or
        ``"leaking"``; returns one line an episode.
    """

    name: str
    remedy: str
    missing: Callable[[], str]
    run: Callable[[Path, str], list[str]]


def program(name: str) -> str | None:
    """Find a program, beside this Python first."""
    beside = Path(sysconfig.get_path("scripts")) / name
    return str(beside) if beside.exists() else shutil.which(name)


def lacking(programs: tuple[str, ...], modules: tuple[str, ...]) -> str:
    """List what is not installed; empty when nothing is missing."""
    lost = [name for name in programs if program(name) is None]
    lost += [name for name in modules if importlib.util.find_spec(name) is None]
    return ", ".join(lost)


def call(command: list[str]) -> str:
    """Run a command to its end; return what it printed.

    Raises
    ------
    EngineError
        It failed: its own words, in one line.
    """
    done = subprocess.run(
        command, capture_output=True, text=True, timeout=TIMEOUT_S, check=False
    )
    if done.returncode:
        raise EngineError((done.stderr or done.stdout).strip().replace("\n", " | "))
    return done.stdout
