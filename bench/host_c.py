"""The peer in C: the case's loop by hand, compiled when the benchmark runs."""

import ctypes
import tempfile
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from bench.host_answer import Answer, FloatArray
from bench.host_timing import core_clock
from host_sim.loop.kernel import BITS, HIGH, LOW
from host_sim.loop.rig import Rig
from host_sim.plant import layout
from host_sim.plant.channel import FULL_COUNTS
from host_sim.prove.c_engines import C99, write_c99
from host_sim.prove.engine import call

SOURCE = Path(__file__).with_name("host_loop.c")
# Sums and products stay apart: a fused one has other bits. A root that cannot fail
# needs no errno.
OPTIONS = ("-O3", "-ffp-contract=off", "-fno-math-errno")
NATIVE = "-march=native"
WEIGHTS = 6


class _Plant(ctypes.Structure):
    """The numbers of `struct plant`, in its order."""

    _fields_ = (
        *((name, ctypes.c_double) for name in ("valve_rate", "sensor_rate")),
        *((name, WEIGHTS * ctypes.c_double) for name in ("valve", "sensor", "volume")),
        *(
            (name, ctypes.c_double)
            for name in (
                "fill",
                "fill_steepness",
                "exhaust",
                "exhaust_steepness",
                "supply_pa",
                "atmosphere_pa",
                "air_k",
                "pa_per_kg_k",
            )
        ),
        *(
            (name, 3 * ctypes.c_double)
            for name in ("current_ma", "pressure_pa", "source_pa")
        ),
    )


STATE = (layout.POSITION, layout.SENSED, layout.LOAD, layout.SOURCE)


class CLoop:
    """The loop in C.

    Parameters
    ----------
    text : str
        Of `host_loop.c`.
    options : tuple of str
        Of the compiler, beyond those that keep the bits.
    """

    def __init__(self, text: str, *options: str) -> None:
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            write_c99(folder)
            source, library = folder / SOURCE.name, folder / "loop.so"
            source.write_text(text, encoding="utf-8")
            shared = ("-shared", "-fPIC", str(source), "-o", str(library), "-lm")
            call(["gcc", *C99, "-Werror", *OPTIONS, *options, *shared])
            self._run = ctypes.CDLL(str(library)).run_loop
        self._run.restype = None

    def run(self, rig: Rig, ticks: int) -> tuple[float, Answer]:
        """Run a loop from its start; return the seconds it took, and its answer."""
        plant = plant_of(rig)
        words, state = rig.words.copy(), rig.body["state"][list(STATE)]
        load_pa, drive = np.empty(ticks), np.empty(ticks)
        arrays = (state, words, rig.block, rig.commands, load_pa, drive)
        given = [ctypes.c_void_p(array.ctypes.data) for array in arrays]
        began = core_clock()
        self._run(ctypes.byref(plant), ticks, rig.substeps, *given)
        return core_clock() - began, Answer(load_pa, drive, words)


def compiler_version() -> str:
    """Tell which compiler that was."""
    return call(["gcc", "--version"]).splitlines()[0]


@cache
def c_loop(*options: str) -> CLoop:
    """Compile the loop as it stands."""
    return CLoop(SOURCE.read_text(encoding="utf-8"), *options)


def plant_of(rig: Rig) -> _Plant:
    """Give C the numbers of a loop of the case's kind."""
    params, inputs = rig.body["params"], rig.body["inputs"]
    numbers: dict[str, Any] = {
        "valve_rate": params[layout.LAG_RATE],
        "sensor_rate": params[layout.SENSED_RATE],
        "valve": _weights(rig, layout.POSITION),
        "sensor": _weights(rig, layout.SENSED),
        "volume": _weights(rig, layout.LOAD),
        "fill": params[layout.FILL],
        "fill_steepness": params[layout.FILL + 1],
        "exhaust": params[layout.EXHAUST],
        "exhaust_steepness": params[layout.EXHAUST + 1],
        "supply_pa": inputs[layout.SOURCE_PA],
        "atmosphere_pa": params[layout.ATMOSPHERE_PA],
        "air_k": params[layout.AMBIENT_K],
        "pa_per_kg_k": params[layout.LOAD_VOLUME + layout.PA_PER_KG_K],
    }
    names = ("current_ma", "pressure_pa", "source_pa")
    for name, row in zip(names, rig.channels, strict=True):
        numbers[name] = _channel(row)
    return _Plant(**numbers)


def _weights(rig: Rig, slot: int) -> ctypes.Array[ctypes.c_double]:
    rows = rig.body["coefficients"].reshape(WEIGHTS, -1)
    return (WEIGHTS * ctypes.c_double)(*rows[:, slot])


def _channel(row: FloatArray) -> ctypes.Array[ctypes.c_double]:
    level_counts = FULL_COUNTS / ((1 << int(row[BITS])) - 1)
    return (3 * ctypes.c_double)(row[LOW], row[HIGH], level_counts)
