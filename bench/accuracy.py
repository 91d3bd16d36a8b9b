"""Hold 200 drawn plants against an adaptive solver; write results/accuracy.*.

Run as ``python -m bench.accuracy``. The plants, the solver's own equations and the
comparison are those of the tests (`tests/tools`); what a comparison demands of
a plant is checked there, here it is measured.
"""

import json
import sys
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import asdict
from pathlib import Path
from time import perf_counter
from typing import TYPE_CHECKING

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "tools"))

from drawn_plants import (
    ARRANGEMENTS,
    THERMALS,
    drawn_case,
    drawn_numbers,
    smooth_case,
)
from solver_comparison import Comparison, compare, solve, watch

from host_sim.plant.plant import Plant
from host_sim.show.files import make_folder, write_whole
from host_sim.show.progress import counting
from host_sim.show.style import BLUE, GREY, INK, ORANGE, save

if TYPE_CHECKING:
    from matplotlib.axes import Axes

RESULTS = Path(__file__).with_name("results")
EACH = 25
FACTORS = (1, 2, 4, 8)
EXACT_FACTOR = 64
QUANTILES = (0.5, 0.9, 0.95, 1.0)
WORST_OF_SPAN, TYPICAL_OF_SPAN = 1e-3, 1e-4
COLOURS = {"direct": BLUE, "chain": ORANGE}

Group = tuple[str, str]
Found = dict[Group, dict[int, Comparison]]
Curve = list[float]


def compare_all() -> Found:
    """Compare all plants, on all cores."""
    found: Found = {(a, t): {} for a in ARRANGEMENTS for t in THERMALS}
    began_s = perf_counter()
    with ProcessPoolExecutor() as pool, counting("plants", "plants") as each:
        asked = {
            pool.submit(compare, arrangement, number): ((arrangement, thermal), number)
            for arrangement, thermal in found
            for number in drawn_numbers(thermal, EACH)
        }
        for done, future in enumerate(as_completed(asked), 1):
            group, number = asked[future]
            found[group][number] = future.result()
            rate_per_s = done / (perf_counter() - began_s)
            each(done, len(asked), rate_per_s, (len(asked) - done) / rate_per_s)
    return found


def smooth_curve(group: Group) -> Curve:
    """Error of the load at the end of a smooth run, for each factor [of span]."""
    case = smooth_case(*group)
    ends_pa = [
        watch(Plant(case.settings, case.tick_s, factor), case.drives)[-1, 0]
        for factor in (*FACTORS, EXACT_FACTOR)
    ]
    return [abs(end_pa - ends_pa[-1]) / case.span_pa for end_pa in ends_pa[:-1]]


def drawn_curve(group: Group) -> Curve:
    """Largest error of the load of a group's first plant, for each factor."""
    case = drawn_case(group[0], drawn_numbers(group[1], 1)[0])
    exact_pa = solve(case)[:, 0]
    runs_pa = (
        watch(Plant(case.settings, case.tick_s, factor), case.drives)[:, 0]
        for factor in FACTORS
    )
    return [float(np.abs(run - exact_pa).max()) / case.span_pa for run in runs_pa]


def order(curve: Curve) -> float:
    """Order of convergence between the two largest factors but one [-]."""
    return float(np.log2(curve[1] / curve[2]))


def of_all(found: Found, arrangements: Iterable[str]) -> list[Comparison]:
    """List the comparisons of some arrangements."""
    return [
        plant
        for (arrangement, _), plants in found.items()
        if arrangement in arrangements
        for plant in plants.values()
    ]


def row(name: str, plants: list[Comparison]) -> str:
    """Write one line of the table."""
    load = np.quantile([plant.load for plant in plants], QUANTILES)
    worst = max(plant.worst for plant in plants)
    seen = [plant.estimate / plant.load for plant in plants if plant.load > 1e-6]
    numbers = "  ".join(f"{number:.1e}" for number in (*load, worst))
    substeps = np.mean([plant.substeps for plant in plants])
    return f"{name:20}{numbers}{min(seen):8.2f}{substeps:10.1f}"


def as_text(found: Found, smooth: dict[Group, Curve]) -> str:
    """Write the table and the orders."""
    names = [f"{share:.0%}" for share in QUANTILES[:-1]] + ["worst", "sensors"]
    lines = [
        f"{len(of_all(found, ARRANGEMENTS))} drawn plants: error of span,"
        " least estimate over error, mean substeps a tick",
        " " * 20 + "".join(f"{n:9}" for n in names) + "estimate  substeps",
    ]
    lines += [
        row(" ".join(group), [*plants.values()]) for group, plants in found.items()
    ]
    lines += [row(f"all {each}", of_all(found, [each])) for each in ARRANGEMENTS]
    lines.append(row("all", of_all(found, ARRANGEMENTS)))
    orders = [order(curve) for curve in smooth.values()]
    lines.append(
        f"order of convergence without kinks: {min(orders):.2f} ... {max(orders):.2f}"
    )
    return "\n".join(lines) + "\n"


def as_json(found: Found, smooth: dict[Group, Curve], drawn: dict[Group, Curve]) -> str:
    """Write all that was found; errors in shares of span."""
    plants = [
        {
            "arrangement": group[0],
            "thermal": group[1],
            "number": number,
            **asdict(plant),
        }
        for group, numbered in found.items()
        for number, plant in sorted(numbered.items())
    ]
    curves = {"smooth_of_span": smooth, "drawn_of_span": drawn}
    return json.dumps(
        {
            "substeps_factors": FACTORS,
            **{
                name: {" ".join(group): curve for group, curve in curves_of.items()}
                for name, curves_of in curves.items()
            },
            "plants_of_span": plants,
        },
        indent=1,
    )


def draw_errors(panel: "Axes", found: Found) -> None:
    """Show one dot a plant, and the median of each group."""
    for place, ((arrangement, _), plants) in enumerate(found.items()):
        errors = sorted(plant.load for plant in plants.values())
        across = place + np.linspace(-0.3, 0.3, len(errors))
        colour = COLOURS[arrangement]
        panel.plot(across, errors, "o", color=colour, markersize=3.5)
        panel.plot(
            [place - 0.38, place + 0.38], [np.median(errors)] * 2, "-", color=INK
        )
    panel.set_xticks(
        range(len(found)),
        [thermal for _, thermal in found],
        rotation=40,
        ha="right",
        rotation_mode="anchor",
    )
    for place, arrangement in ((1.5, "direct"), (5.5, "chain")):
        panel.text(
            place,
            0.02,
            arrangement,
            color=COLOURS[arrangement],
            ha="center",
            weight="bold",
            transform=panel.get_xaxis_transform(),
        )
    for level, name in ((WORST_OF_SPAN, "worst"), (TYPICAL_OF_SPAN, "typical")):
        panel.axhline(level, color=GREY, linestyle="--")
        panel.text(7.5, level * 1.15, f"asked: {name}", ha="right", color=INK)
    panel.set_title("200 drawn plants (bar: median)", loc="left")


def draw_orders(
    panel: "Axes", smooth: dict[Group, Curve], drawn: dict[Group, Curve]
) -> None:
    """Show how the error falls with more substeps."""
    for group, curve in drawn.items():
        first = group == next(iter(drawn))
        name = "drawn plants, with kinks" if first else None
        panel.loglog(FACTORS, curve, ":", color=GREY, marker="x", label=name)
    for group, curve in smooth.items():
        name = f"smooth, {group[0]}" if group[1] == THERMALS[0] else None
        style = {"direct": "-", "chain": "--"}[group[0]]
        panel.loglog(
            FACTORS, curve, style, color=COLOURS[group[0]], marker="o", label=name
        )
    top = 3.0 * max(curve[0] for curve in smooth.values())
    guide = [top * factor**-4.0 for factor in FACTORS]
    panel.loglog(FACTORS, guide, "-.", color=INK, label="fourth power")
    panel.set_xticks(FACTORS, [f"{factor}x" for factor in FACTORS])
    panel.minorticks_off()
    panel.set_xlabel("substeps, times those chosen")
    panel.set_ylabel("error of the load pressure / span")
    panel.set_ylim(top=1.0)
    panel.legend(loc="upper right", frameon=False)
    panel.set_title("Error against substeps", loc="left")


def draw(found: Found, smooth: dict[Group, Curve], drawn: dict[Group, Curve]) -> None:
    """Draw both panels."""
    from matplotlib.figure import Figure  # noqa: PLC0415

    figure = Figure(figsize=(9.0, 5.0), dpi=140, layout="constrained")
    left, right = figure.subplots(1, 2, width_ratios=(1.25, 1.0))
    left.set_yscale("log")
    left.set_ylabel("largest error of the load pressure / span")
    for panel in (left, right):
        panel.grid(visible=True, color="#e3e5e8", linewidth=0.8)
        panel.spines[["top", "right"]].set_visible(False)
    draw_errors(left, found)
    draw_orders(right, smooth, drawn)
    save(figure, RESULTS / "accuracy.png")


def is_met(found: Found) -> bool:
    """Tell whether the load errs no more than was asked."""
    errors = [plant.load for plant in of_all(found, ARRANGEMENTS)]
    return max(errors) <= WORST_OF_SPAN and np.median(errors) <= TYPICAL_OF_SPAN


def main() -> int:
    """Compare, print, draw, write; fail when a plant errs more than was asked."""
    make_folder(RESULTS)
    found = compare_all()
    smooth = {group: smooth_curve(group) for group in found}
    drawn = {group: drawn_curve(group) for group in found}
    print(as_text(found, smooth), end="")
    text = as_json(found, smooth, drawn)
    write_whole(RESULTS / "accuracy.json", lambda path: path.write_text(text))
    draw(found, smooth, drawn)
    return 0 if is_met(found) else 1


if __name__ == "__main__":
    sys.exit(main())
