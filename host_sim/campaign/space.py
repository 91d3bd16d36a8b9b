"""What a campaign varies: axes, how they are drawn, and where each point lies."""

import math
from dataclasses import asdict, dataclass
from typing import Any, Literal

import numpy as np
import numpy.typing as npt
from scipy import special
from scipy.stats import qmc

from host_sim.errors import InputError

FloatArray = npt.NDArray[np.float64]

# Half the spacing of Sobol numbers: no quantile is asked for at 0 or 1, where
# an unlimited distribution is infinite.
EDGE = 2.0**-31
# A Latin hypercube is drawn whole; blocks of it bound the memory of any number.
HYPERCUBE = 4_096


@dataclass(frozen=True)
class Uniform:
    """Evenly distributed between two numbers."""

    low: float
    high: float

    def __post_init__(self) -> None:
        """Refuse an empty range."""
        _check_limits("Uniform", self.low, self.high)

    def quantile(self, share: FloatArray) -> FloatArray:
        """``low + share (high - low)``."""
        return self.low + share * (self.high - self.low)


@dataclass(frozen=True)
class LogUniform:
    """Evenly distributed in the logarithm, between two positive numbers."""

    low: float
    high: float

    def __post_init__(self) -> None:
        """Refuse an empty range, or one that has no logarithm."""
        _check_limits("LogUniform", self.low, self.high)
        if self.low <= 0.0:
            raise InputError(
                f"LogUniform: low {self.low:g} has no logarithm; give one above 0"
            )

    def quantile(self, share: FloatArray) -> FloatArray:
        """``low (high / low)**share``."""
        ratio = math.log(self.high / self.low)
        return np.asarray(self.low * np.exp(share * ratio), dtype=np.float64)


@dataclass(frozen=True)
class Normal:
    """Normally distributed; cut off at ``low`` and ``high`` where given."""

    mean: float
    deviation: float
    low: float | None = None
    high: float | None = None

    def __post_init__(self) -> None:
        """Refuse a distribution that has no width."""
        if not (math.isfinite(self.mean) and 0.0 < self.deviation < math.inf):
            raise InputError(
                f"Normal: mean {self.mean:g}, deviation {self.deviation:g}; both must "
                "be finite and the deviation above 0"
            )
        lowest, highest = self._shares()
        if not lowest < highest:
            raise InputError(
                f"Normal: nothing lies between {self.low} and {self.high}; "
                "widen the limits or move the mean"
            )

    def quantile(self, share: FloatArray) -> FloatArray:
        """``mean + deviation Phi^-1(share)``, shares squeezed to the limits."""
        lowest, highest = self._shares()
        squeezed = lowest + share * (highest - lowest)
        return np.asarray(
            self.mean + self.deviation * special.ndtri(squeezed), dtype=np.float64
        )

    def _shares(self) -> tuple[float, float]:
        low = -math.inf if self.low is None else self.low
        high = math.inf if self.high is None else self.high
        return (
            float(special.ndtr((low - self.mean) / self.deviation)),
            float(special.ndtr((high - self.mean) / self.deviation)),
        )


@dataclass(frozen=True)
class Grid:
    """These numbers, each combined with every number of the other grids."""

    levels: tuple[float, ...]

    def __post_init__(self) -> None:
        """Refuse an empty grid."""
        if not self.levels or not all(math.isfinite(level) for level in self.levels):
            raise InputError(
                f"Grid: levels {self.levels}; give one or more finite numbers"
            )


Distribution = Uniform | LogUniform | Normal
Axis = Distribution | Grid


@dataclass(frozen=True)
class Space:
    """Axes by path, and how many points to draw.

    Every combination of the grids meets the same ``samples`` draws of the
    distributions, so grid levels are compared on equal terms; without any
    distribution, ``samples`` repeats differ by their noise alone. The grids
    turn fastest: points up to any number cover all their levels.

    "sobol" fills the space evenly and best with a power of two of samples;
    "latin hypercube" puts one of up to 4096 points into each slice of each
    axis (more points are several hypercubes, one after another).

    Source: Owen (scrambled Sobol points), McKay et al. 1979 (Latin
    hypercube), through scipy.stats.qmc; from memory.
    """

    axes: dict[str, Axis]
    samples: int
    seed: int
    sampler: Literal["sobol", "latin hypercube"] = "sobol"

    def __post_init__(self) -> None:
        """Refuse a space without axes, points or a seed."""
        if not self.axes:
            raise InputError("space: no axis; name at least one path to vary")
        if self.samples < 1:
            raise InputError(f"space: {self.samples} samples; ask for 1 or more")
        if self.seed < 0:
            raise InputError(f"space: seed {self.seed}; give 0 or more")
        if self.sampler not in ("sobol", "latin hypercube"):
            raise InputError(
                f"space: sampler {self.sampler!r}; write 'sobol' or 'latin hypercube'"
            )

    @property
    def count(self) -> int:
        """Number of points: samples times grid combinations."""
        return self.samples * self._combinations

    def draw(self, start: int, stop: int) -> FloatArray:
        """Give points by their place, whatever was drawn before.

        Parameters
        ----------
        start, stop : int
            First point, and the one after the last, 0 ... `count`.

        Returns
        -------
        ndarray, shape (stop - start, number of axes)
            One row a point, columns in the order of ``axes``.

        Examples
        --------
        >>> space = Space({"a": Grid((1.0, 2.0)), "b": Uniform(0.0, 1.0)}, 4, 7)
        >>> all_points = space.draw(0, space.count)
        >>> bool((space.draw(3, 5) == all_points[3:5]).all())
        True
        """
        places = np.arange(start, stop)
        first = start // self._combinations
        shares = self._shares(first, (stop - 1) // self._combinations + 1)
        rows = shares[places // self._combinations - first]
        rest, drawn, columns = places % self._combinations, 0, []
        for axis in self.axes.values():
            if isinstance(axis, Grid):
                rest, level = np.divmod(rest, len(axis.levels))
                columns.append(np.array(axis.levels, dtype=np.float64)[level])
            else:
                columns.append(axis.quantile(rows[:, drawn]))
                drawn += 1
        return np.stack(columns, axis=1)

    def as_dict(self) -> dict[str, Any]:
        """Describe the space in plain words and numbers."""
        return {
            "axes": {
                path: {"kind": type(axis).__name__, **asdict(axis)}
                for path, axis in self.axes.items()
            },
            "samples": self.samples,
            "seed": self.seed,
            "sampler": self.sampler,
        }

    @property
    def _combinations(self) -> int:
        grids = [axis for axis in self.axes.values() if isinstance(axis, Grid)]
        return math.prod(len(grid.levels) for grid in grids)

    def _shares(self, start: int, stop: int) -> FloatArray:
        """Draw samples ``start`` to ``stop`` in the unit cube, edges left out."""
        size = sum(not isinstance(axis, Grid) for axis in self.axes.values())
        if size == 0:
            return np.empty((stop - start, 0))
        draw = self._sobol if self.sampler == "sobol" else self._hypercubes
        return np.clip(draw(size, start, stop), EDGE, 1.0 - EDGE)

    def _sobol(self, size: int, start: int, stop: int) -> FloatArray:
        engine = qmc.Sobol(size, seed=np.random.default_rng(self.seed))
        if start == 0:
            # A first draw of another number than a power of two is warned of.
            shares = engine.random(1 << (stop - 1).bit_length())[:stop]
        else:
            shares = engine.fast_forward(start).random(stop - start)
        return np.asarray(shares, dtype=np.float64)

    def _hypercubes(self, size: int, start: int, stop: int) -> FloatArray:
        blocks = range(start // HYPERCUBE, (stop - 1) // HYPERCUBE + 1)
        cubes = []
        for block in blocks:
            points = min(HYPERCUBE, self.samples - block * HYPERCUBE)
            random = np.random.default_rng((self.seed, block))
            cubes.append(qmc.LatinHypercube(size, seed=random).random(points))
        skipped = blocks[0] * HYPERCUBE
        shares = np.concatenate(cubes)[start - skipped : stop - skipped]
        return np.asarray(shares, dtype=np.float64)


def noise_seed(campaign_seed: int, index: int) -> int:
    """Derive one point's noise seed from the campaign's and its place.

    Of 53 bits, so that every program that reads the table keeps it exact.

    Parameters
    ----------
    campaign_seed, index : int

    Returns
    -------
    int
        0 ... 2**53 - 1.

    Source: numpy's SeedSequence.

    """
    words = np.random.SeedSequence((campaign_seed, index)).generate_state(1, np.uint64)
    return int(words[0] >> np.uint64(11))


def _check_limits(name: str, low: float, high: float) -> None:
    if not (math.isfinite(low) and math.isfinite(high) and low < high):
        raise InputError(
            f"{name}: low {low:g}, high {high:g}; both must be finite and low below "
            "high"
        )
