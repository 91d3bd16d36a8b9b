"""What figures were measured on."""

import os
import platform
from importlib.metadata import version
from pathlib import Path

PACKAGES = ("numpy", "scipy", "control", "llvmlite")


def describe_machine() -> dict[str, str]:
    """Tell processor, cores, system, versions, and how busy it is."""
    return {
        "processor": _processor(),
        "cores": str(os.cpu_count()),
        "system": f"{platform.system()} {platform.release()} {platform.machine()}",
        "python": platform.python_version(),
        **{name: version(name) for name in PACKAGES},
        "load_average": f"{os.getloadavg()[0]:.2f}",
    }


def _processor() -> str:
    table = Path("/proc/cpuinfo")
    lines = table.read_text().splitlines() if table.exists() else []
    names = [line.partition(":")[2] for line in lines if line.startswith("model name")]
    return names[0].strip() if names else platform.processor()
