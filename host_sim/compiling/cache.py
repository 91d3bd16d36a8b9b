"""Machine code on disk: found by its key, believed only if whole.

A file is the SHA-256 of the code, then the code. Files that were not used for the
longest time go when the folder grows beyond its limit, and with them what older
versions left. A folder that cannot be written, or a file that cannot be read,
costs compiling anew and nothing else.
"""

import contextlib
import hashlib
import os
import tempfile
from pathlib import Path

import platformdirs

LIMIT_BYTES = 64_000_000
"""Code of some thousand functions."""

_DIGEST_BYTES = hashlib.sha256().digest_size


def folder() -> Path:
    """Name the user's own folder for it."""
    return Path(platformdirs.user_cache_dir("integer-pilot")) / "straight"


def load(key: str) -> bytes | None:
    """Read the code of a key; None where there is none that is whole."""
    path = folder() / key
    try:
        content = path.read_bytes()
    except OSError:
        return None
    digest, code = content[:_DIGEST_BYTES], content[_DIGEST_BYTES:]
    if hashlib.sha256(code).digest() != digest:
        return None
    with contextlib.suppress(OSError):
        path.touch()
    return code


def keep(key: str, code: bytes) -> None:
    """Write code under its key, whole or not at all."""
    place = folder()
    with contextlib.suppress(OSError):
        place.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=place)
        written = Path(name)
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(hashlib.sha256(code).digest() + code)
            written.replace(place / key)
        finally:
            written.unlink(missing_ok=True)
        _drop_oldest(place)


def _drop_oldest(place: Path) -> None:
    """Delete what was not used for longest, beyond the limit."""
    files = [(path.stat(), path) for path in place.iterdir()]
    total = 0
    for status, path in sorted(files, key=lambda one: -one[0].st_mtime):
        total += status.st_size
        if total > LIMIT_BYTES:
            path.unlink(missing_ok=True)
