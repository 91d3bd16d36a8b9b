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
