"""Count the processes that a test may leave behind."""

import os
from pathlib import Path

NAMES = ("(qemu-system-arm", "(setpriv")


def emulators_of(parent=None):
    """List the process ids of a process's emulators (Linux)."""
    parent = os.getpid() if parent is None else parent
    found = []
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            try:
                stat = (entry / "stat").read_text()
            except OSError:
                continue
            name, fields = stat.rsplit(")", 1)
            # Just started, an emulator still has the name of what started it.
            if name.endswith(NAMES) and int(fields.split()[1]) == parent:
                found.append(int(entry.name))
    return found
