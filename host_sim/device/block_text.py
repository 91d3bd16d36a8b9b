"""A parameter block as people keep it: JSON by name, or the scenario it is made of."""

import json
from pathlib import Path
from typing import Any

from host_sim.device.block_file import StoredBlock, unpack_block
from host_sim.device.device_block import DeviceBlock, device_block
from host_sim.errors import InputError
from host_sim.scenario.load import load_scenario

SCENARIO, JSON = ".toml", ".json"
_US_PER_S = 1_000_000


def read_block(path: Path) -> DeviceBlock:
    """Read a block from a scenario, from JSON, or from a board's bytes.

    Parameters
    ----------
    path : Path
        ``.toml`` is a scenario, ``.json`` what `block_as_dict` gave; anything else
        the bytes that a board stores.

    Returns
    -------
    DeviceBlock

    Raises
    ------
    InputError
        Not readable, an unknown or illegal word, or bytes that are no whole block.
    """
    if path.suffix == SCENARIO:
        return device_block(load_scenario(path))
    return _read_json(path) if path.suffix == JSON else read_stored(path).block


def read_stored(path: Path) -> StoredBlock:
    """Read the bytes that a board stores, with layout version and sequence."""
    return unpack_block(_read_bytes(path), str(path))


def block_as_dict(block: DeviceBlock) -> dict[str, Any]:
    """Tell a block by the names of its words.

    >>> told = block_as_dict(DeviceBlock(tick_s=0.01))
    >>> told["tick_us"], told["words"]["P_GAIN"]
    (10000, 8192)
    """
    return {
        "tick_us": round(block.tick_s * _US_PER_S),
        "words": {row[0]: block[row[0]] for row in block.rows},
    }


def _read_json(path: Path) -> DeviceBlock:
    try:
        told = json.loads(_read_bytes(path))
        tick_s = _tick_s(told)
        words = dict(told["words"])
    except (ValueError, TypeError, KeyError) as error:
        raise InputError(
            f"{path}: no block in JSON ({type(error).__name__}: {error}); write one "
            "with 'parameters unpack'"
        ) from None
    block = DeviceBlock(tick_s)
    for name, word in words.items():
        if name not in block.slot or type(word) is not int:
            raise InputError(
                f"{path}: words.{name} = {word!r}; the names are those of 'parameters "
                "show', the words whole numbers"
            )
        try:
            block[name] = word
        except InputError as refusal:
            raise InputError(f"{path}: {refusal}") from None
    block.check_order()
    return block


def _tick_s(told: dict[str, Any]) -> float:
    # `tune --block` writes the law's words alone, with the tick in seconds.
    tick_s = told["tick_s"] if "tick_s" in told else told["tick_us"] / _US_PER_S
    if not tick_s > 0.0:
        raise ValueError(f"a tick of {tick_s} s")
    return float(tick_s)


def _read_bytes(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise InputError(f"{path}: {error.strerror}; name a file of yours") from None
