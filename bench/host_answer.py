"""What a benchmarked loop answers, and the checks that it is right."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int32]


class WrongAnswerError(Exception):
    """Something that was timed computed something else."""


@dataclass(frozen=True)
class Answer:
    """What a run of one loop, or of many side by side, leaves.

    Attributes
    ----------
    load_pa, drive : float array, shape (ticks,) or (ticks, loops)
        Load pressure at the start of every tick [Pa], and its drive [-].
    words : int array, shape (words,) or (words, loops)
        All state words of the law after the last tick.
    """

    load_pa: FloatArray
    drive: FloatArray
    words: IntArray


def check_same(who: str, found: Answer, expected: Answer) -> None:
    """Ask for the same answer, bit for bit.

    Raises
    ------
    WrongAnswerError
    """
    for name in ("words", "drive", "load_pa"):
        one, other = getattr(found, name), getattr(expected, name)
        if one.dtype != other.dtype or one.tobytes() != other.tobytes():
            raise WrongAnswerError(f"{who}: {name} differs")


def check_close(who: str, found: Answer, expected: Answer, bound_pa: float) -> None:
    """Ask for the same pressure within a bound, at every tick.

    Raises
    ------
    WrongAnswerError
    """
    apart_pa = float(np.max(np.abs(found.load_pa - expected.load_pa)))
    # The negation refuses NaN too.
    if not apart_pa <= bound_pa:
        raise WrongAnswerError(
            f"{who}: load pressure up to {apart_pa:.3g} Pa off, {bound_pa:.3g} allowed"
        )
