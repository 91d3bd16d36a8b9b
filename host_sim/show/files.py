"""Writing files: whole or not at all, and a refusal that helps."""

import os
import tempfile
from collections.abc import Callable
from pathlib import Path

from host_sim.errors import InputError


def write_whole(path: Path, write: Callable[[Path], object]) -> None:
    """Let ``write`` fill a file beside ``path``, then put it in its place.

    Parameters
    ----------
    path : Path
    write : callable
        Called with the path to write to; it has the same ending.

    Raises
    ------
    InputError
        The folder is missing or not writable; nothing is left behind.
    """
    try:
        handle, name = tempfile.mkstemp(suffix=path.suffix, dir=path.parent)
    except OSError as error:
        raise _refusal(path, error) from None
    os.close(handle)
    beside = Path(name)
    try:
        write(beside)
        beside.chmod(0o644)
        beside.replace(path)
    except OSError as error:
        raise _refusal(path, error) from None
    finally:
        beside.unlink(missing_ok=True)


def check_writable(*paths: Path | None, kept: Path | None = None) -> None:
    """Refuse, before any long work, files that could not be written after it.

    ``kept`` is a file that must not be written over.

    Raises
    ------
    InputError
        A folder that is missing or not writable, or two files of one name.
    """
    named = [path for path in paths if path is not None]
    for path in named:
        if not os.access(path.parent, os.W_OK):
            why = "not writable" if path.parent.is_dir() else "no such folder"
            raise InputError(
                f"{path}: cannot write ({why}); name a folder that exists and is "
                "writable"
            )
    places = [path.resolve() for path in (*named, *([kept] if kept else []))]
    for path in named:
        if places.count(path.resolve()) > 1:
            raise InputError(f"{path}: named twice; give each file its own name")


def make_folder(path: Path) -> None:
    """Make a folder that may exist already.

    Raises
    ------
    InputError
        It cannot be made.
    """
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise _refusal(path, error) from None


def _refusal(path: Path, error: OSError) -> InputError:
    return InputError(
        f"{path}: cannot write ({error.strerror}); name a folder that exists and is "
        "writable"
    )
