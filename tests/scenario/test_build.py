"""No key without effect, no setting without a key.

A document is made of the schema itself, with a value from inside each key's
range. Then one key after another takes another value, and something in the
built settings has to follow.
"""

import dataclasses
import re

import pytest

from host_sim.scenario.build_law import build_gain_sets, build_law
from host_sim.scenario.build_plant import build_channel, build_plant
from host_sim.scenario.keys import TABLES
from host_sim.scenario.schema import Choices, Pairs
from host_sim.scenario.supervision import build_relay_test, build_supervision
from host_sim.scenario.tree import Tree
from host_sim.scenario.tuning import build_family, build_limits
from host_sim.scenario.wanted import build_wanted

NOT_SETTINGS = {
    "title",
    "air.scfm_reference",
    "air.thermal",
    "air.exponent",
    "profile.steps",
    "profile.recording",
    "run.duration",
    "run.compute_delay_ticks",
    "run.settle_band",
    "display.pressure",
    "display.flow",
    "plant.arrangement",
}
"""Keys that go elsewhere, or are defaults of keys that the document gives."""

SIZE = {"length", "inner_diameter"}
ISO_6358 = {"conductance", "critical_ratio", "index"}
TUBES = ("tube", "supply.line")


def of_tubes(names):
    return {f"{table}.{name}" for table in TUBES for name in names}


LEFT_OUT = (
    (
        {"pilot.lag", "controller.parallel", "drive.valve_pair"},
        {"controller.derivative_filter", *of_tubes(SIZE)},
    ),
    (
        {"pilot.chamber", "controller.ideal", "drive.proportional"},
        {"controller.derivative_divisor", *of_tubes(ISO_6358)},
    ),
)
"""Tables and keys that exclude others."""
PARTS = (0.4, 0.6)
PARTS_BELOW = {
    "range.low": (0.1, 0.2),
    "wanted.start": (0.25, 0.3),
    "wanted.end": (0.35, 0.38),
    "wanted.temperature_low": (0.1, 0.2),
    "family.temperature_low": (0.1, 0.2),
}
"""Places within a key's range: a value, and another one."""


def value_of(key, part):
    if isinstance(key.kind, Choices):
        return key.kind.words[0 if part < 0.5 else 1]
    if key.kind == "flag":
        return part > 0.5
    if key.kind == "text":
        texts = {"port": f"thread {part}", "scfm_reference": "60 degF, 14.696 psia"}
        return texts.get(key.name, key.default)
    low, high, unit = re.fullmatch(r"(\S+) \.\.\. (\S+) ?(.*)", key.allowed).groups()
    number = float(low) + part * (float(high) - float(low))
    if key.kind == "whole":
        return round(number)
    if isinstance(key.kind, Pairs):
        first = "1 s" if key.kind.first == "time" else "50 %"
        return [[first, f"{number!r} {unit}"]]
    return f"{number!r} {unit}"


def make_document(arrangement, left_out):
    tables, missing = left_out
    document, paths = {}, []
    for table in TABLES:
        if table.arrangement not in ("", arrangement):
            continue
        if any(f"{table.path}.".startswith(f"{name}.") for name in tables):
            continue
        if "*" in table.path and table.path.replace("gain_sets.*", "controller") in (
            tables
        ):
            continue
        path = table.path.replace("*", "one")
        room = document
        for name in path.split(".") if path else ():
            room = room.setdefault(name, {})
        for key in table.keys:
            full = f"{path}.{key.name}" if path else key.name
            if full in {*missing, "profile.recording"}:
                continue
            parts = PARTS_BELOW.get(full, PARTS)
            room[key.name] = value_of(key, parts[0])
            paths.append((full, room, key, value_of(key, parts[1])))
    document["plant"]["arrangement"] = arrangement
    return document, paths


def leaves(thing, path):
    if dataclasses.is_dataclass(thing):
        for field in dataclasses.fields(thing):
            yield from leaves(getattr(thing, field.name), f"{path}.{field.name}")
    elif isinstance(thing, tuple):
        for index, part in enumerate(thing):
            yield from leaves(part, f"{path}[{index}]")
    else:
        yield path, thing


def build(document):
    tree = Tree(document, "made.toml")
    plant = build_plant(tree)
    built = dict(leaves(plant.arrangement, type(plant.arrangement).__name__))
    built |= leaves(plant.sensing, "Sensing")
    built |= leaves(build_law(tree), "Law")
    built |= leaves(build_wanted(tree), "Wanted")
    built |= leaves(build_family(tree), "Family")
    built |= leaves(build_limits(tree), "Limits")
    built |= leaves(build_supervision(tree), "Supervision")
    built |= leaves(build_relay_test(tree), "RelayTest")
    built |= leaves(build_channel(tree, "sensor.current"), "Current")
    built |= leaves(tuple(build_gain_sets(tree).values()), "Sets")
    return built


@pytest.mark.parametrize("arrangement", ["chain", "direct"])
@pytest.mark.parametrize("left_out", LEFT_OUT)
def test_build_each_key_moves_a_setting_and_each_setting_moves(arrangement, left_out):
    document, paths = make_document(arrangement, left_out)
    before = build(document)
    moved = set()
    for path, room, key, other in paths:
        if path in NOT_SETTINGS:
            continue
        held, room[key.name] = room[key.name], other
        after = build(document)
        room[key.name] = held
        changed = {
            leaf
            for leaf in before.keys() | after.keys()
            if before.get(leaf) != after.get(leaf)
        }
        assert changed, path
        moved |= changed
    # At ratio 0 the flow is choked and at 1 zero, and the made document holds one
    # pair in each script.
    fixed = {leaf for leaf in before if re.search(r"flow\[\d+\]$", leaf)}
    fixed |= {
        leaf for leaf in before if leaf.endswith((".changes[0][0]", ".hold[0][0]"))
    }
    if of_tubes(ISO_6358) <= left_out[1]:
        fixed |= {
            leaf for leaf in before if leaf.endswith(("tube.index", "line.index"))
        }
    assert before.keys() - moved - fixed == set()


def test_build_air_thermal_and_exponent_are_the_volumes_defaults():
    document, _ = make_document("chain", LEFT_OUT[0])
    for table in ("load", "outlet"):
        del document[table]["thermal"]
        del document[table]["exponent"]
    document["air"] |= {"thermal": "polytropic", "exponent": 1.3}
    built = build(document)
    for volume in ("load", "outlet"):
        assert built[f"ChainPlant.{volume}.thermal"] == "polytropic"
        assert built[f"ChainPlant.{volume}.exponent"] == 1.3
