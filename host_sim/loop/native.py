"""The kernels of the loop as machine code, one for each shape of loop."""

from functools import cache

from host_sim.compiling.native import Native, Number, Part, Table, compile_native
from host_sim.compiling.signature import Signature
from host_sim.law import counts
from host_sim.law.stages import STAGES
from host_sim.loop import kernel, watch
from host_sim.loop.rig import Known, Shape
from host_sim.plant import (
    arrangement,
    chain,
    channel,
    direct,
    exponential,
    gas,
    integrate,
    layout,
    volume,
)

MODULES = (
    *STAGES,
    counts,
    gas,
    channel,
    volume,
    direct,
    chain,
    arrangement,
    exponential,
    integrate,
    layout,
    watch,
    kernel,
)
SCRATCH = ("rates", "total", "trial", "ahead")


@cache
def recorder(
    shape: Shape, word_slots: tuple[int, ...], view_slots: tuple[int, ...]
) -> Native:
    """Compile `kernel.run_recorded` for one loop of a shape."""
    signature: Signature = {
        "first": Number("int"),
        "ticks": Number("int"),
        **_loop_arguments(shape),
        "word_slots": _constants(word_slots),
        "word_record": Table("int", row=len(word_slots)),
        "view_slots": _constants(view_slots),
        "view_record": Table("float", row=len(view_slots)),
        "flow_record": Table("float", row=2),
        "body": _body_arguments(shape),
    }
    return compile_native(kernel.run_recorded, signature, MODULES)


@cache
def watcher(shape: Shape, lanes: int) -> Native:
    """Compile `kernel.run_watched` for several loops of a shape side by side."""
    signature: Signature = {
        "first": Number("int"),
        "ticks": Number("int"),
        **_loop_arguments(shape),
        "levels": Table("float", length=watch.LEVELS),
        "marks": Table("float", length=len(watch.MARKS)),
        "body": _body_arguments(shape),
    }
    return compile_native(kernel.run_watched, signature, MODULES, lanes)


@cache
def driver(shape: Shape) -> Native:
    """Compile `kernel.run_driven` for a plant of a shape."""
    signature: Signature = {
        "ticks": Number("int"),
        "tick_s": Number("float"),
        "drives": Table("float"),
        "scripts": Table("float", row=2),
        "record": Table("float"),
        "body": _body_arguments(shape),
    }
    return compile_native(kernel.run_driven, signature, MODULES)


def _constants(numbers: tuple[int, ...]) -> Table:
    known = tuple(enumerate(numbers))
    return Table("int", length=len(numbers), scratch=True, known=known)


def _loop_arguments(shape: Shape) -> dict[str, Part]:
    return {
        "tick_s": Number("float"),
        "delay_ticks": Number("int"),
        "words": Table("int", length=shape.words),
        "block": Table("int", length=shape.block),
        "commands": Table("float"),
        "channels": Table("float", row=kernel.CHANNEL_ROW, known=shape.channels),
        "noise": Table("float", row=3),
        "scripts": Table("float", row=2),
        "pending": Table("float", length=1),
    }


def _body_arguments(shape: Shape) -> dict[str, Part]:
    known = {"params": shape.params, "coefficients": shape.coefficients}
    return {
        **{
            name: _body_argument(name, length, known.get(name, ()))
            for name, length in shape.body
        },
        "substeps": Number("int"),
    }


def _body_argument(name: str, length: int, known: Known) -> Part:
    if name == "heads":
        return Table("int", laned=False, length=length)
    if name.endswith("line"):
        return Table("float", length=None)
    return Table("float", length=length, scratch=name in SCRATCH, known=known)
