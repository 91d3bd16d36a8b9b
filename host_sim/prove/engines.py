"""All engines, the reference first."""

from host_sim.prove.board_cortex import CORTEX_ENGINES
from host_sim.prove.board_engine import BOARD_ENGINES
from host_sim.prove.c_engines import C_ENGINES
from host_sim.prove.python_engines import PYTHON_ENGINES
from host_sim.prove.straight_engine import STRAIGHT_ENGINES

ENGINES = (
    *PYTHON_ENGINES,
    *STRAIGHT_ENGINES,
    *C_ENGINES,
    *CORTEX_ENGINES,
    *BOARD_ENGINES,
)
