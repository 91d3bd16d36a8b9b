"""One row of the table of instructions."""

from dataclasses import dataclass

COUNTING = ("-icount", "shift=0")
LOOP_INSTRUCTIONS = 1_000_000


@dataclass(frozen=True)
class Count:
    """What one tick costs.

    Attributes
    ----------
    what, case, processor : str
        What ran, with which features, where.
    mean, most : float
        Instructions a tick, over the run and in its longest tick.
    code_bytes : int or None
        Size of the code with its constants; none for bytecode.
    """

    what: str
    case: str
    processor: str
    mean: float
    most: float
    code_bytes: int | None
