"""What an acceptance was made with: device, parameters, versions, checksums."""

import hashlib
import platform
import zlib
from dataclasses import asdict
from datetime import date
from importlib.metadata import version
from pathlib import Path
from typing import Any

from host_sim.device.block_file import pack_block
from host_sim.device.device_law import DeviceLaw
from host_sim.scenario.load import Scenario


def made_with(
    name: str, law: DeviceLaw, scenario_path: Path, scenario: Scenario
) -> dict[str, Any]:
    """Tell what must be known to believe a measurement, or to repeat it.

    Parameters
    ----------
    name : str
        What the user called the device.
    law : DeviceLaw
    scenario_path : Path
    scenario : Scenario
    """
    block = pack_block(law.block)
    identity = asdict(law.link.identity)
    words = [f"{key.replace('_', ' ')} {said}" for key, said in identity.items()]
    return {
        "device": name,
        "identity": ", ".join(words),
        "plant": "simulated by integer-pilot",
        "date": date.today().isoformat(),
        "integer_pilot": version("integer-pilot"),
        "python": platform.python_version(),
        "machine": f"{platform.system()} {platform.machine()}",
        "scenario": scenario_path.name,
        "scenario_sha256": hashlib.sha256(scenario_path.read_bytes()).hexdigest(),
        "parameters_crc32": f"{zlib.crc32(block):08x}",
        "tick_ms": 1e3 * scenario.law.tick_s,
        "notes": "; ".join(scenario.notes) or "none",
    }
