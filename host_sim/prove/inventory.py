"""What this computer has of what the project can use."""

import platform
from importlib.metadata import PackageNotFoundError, requires, version
from re import match
from typing import Any

from firmware_model.law import layout
from host_sim.prove.engines import ENGINES

DISTRIBUTION = "integer-pilot"


def take_inventory() -> dict[str, Any]:
    """List versions, engines and the size of the law's arrays."""
    return {
        "integer_pilot": version(DISTRIBUTION),
        "python": platform.python_version(),
        "machine": f"{platform.system()} {platform.machine()}",
        "packages": {name: _version(name) for name in _required()},
        "engines": [
            {
                "name": engine.name,
                "found": not engine.missing(),
                "missing": engine.missing(),
                "remedy": engine.remedy if engine.missing() else "",
            }
            for engine in ENGINES
        ],
        "law": {
            "state_words": len(layout.STATE),
            "parameter_words": len(layout.PARAMETERS),
        },
    }


def _required() -> list[str]:
    names = [match(r"[\w.-]+", line) for line in requires(DISTRIBUTION) or []]
    return sorted({found.group() for found in names if found})


def _version(name: str) -> str | None:
    try:
        return version(name)
    except PackageNotFoundError:
        return None
