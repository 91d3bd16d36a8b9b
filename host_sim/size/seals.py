"""Seal materials: how warm, and beside which media."""

from typing import NamedTuple

from host_sim.scenario.keys_wanted import MEDIA

ZERO_CELSIUS_K = 273.15


class Seal(NamedTuple):
    """A material's limits, where the catalogue gives none of its own."""

    temperature_k: tuple[float, float]
    media: tuple[str, ...]


def _seal(low_c: float, high_c: float, *unfit: str) -> Seal:
    kelvin = (low_c + ZERO_CELSIUS_K, high_c + ZERO_CELSIUS_K)
    return Seal(kelvin, tuple(medium for medium in MEDIA if medium not in unfit))


SEALS = {
    "NBR": _seal(-20.0, 80.0, "ozone", "solvent vapour"),
    "HNBR": _seal(-25.0, 130.0, "solvent vapour"),
    "FKM": _seal(-15.0, 180.0, "solvent vapour"),
    "EPDM": _seal(-40.0, 120.0, "oil mist", "solvent vapour"),
    "VMQ": _seal(-50.0, 180.0, "oil mist", "solvent vapour"),
    "PU": _seal(-30.0, 80.0, "solvent vapour"),
    "PTFE": _seal(-60.0, 200.0),
}
"""Rubbers by the letters of ISO 1629, PU for both of its polyurethanes, and PTFE.

Cautious round figures: common practice, no source. A compound may stand more or
less; the catalogue's own columns come before these.
"""
