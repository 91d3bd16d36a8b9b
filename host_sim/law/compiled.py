"""The board's own law, compiled for this computer."""

from functools import cache
from typing import Any

from host_sim.compiling.wrapped import compile_modules
from host_sim.law.stages import STAGES


@cache
def compiled_law() -> dict[str, Any]:
    """Compile the law once; ``compiled_law()["tick.tick"]`` runs a tick.

    >>> from array import array
    >>> from firmware_model.law import layout
    >>> state = array("i", [0] * len(layout.STATE))
    >>> params = array("i", [row[2] for row in layout.PARAMETERS])
    >>> compiled_law()["tick.reset"](state)
    >>> compiled_law()["tick.tick"](state, params)
    >>> state[6]
    1
    """
    return compile_modules(STAGES)
