"""Static characteristic: pressure at rest over input, up and down."""

from dataclasses import dataclass

import numpy as np

from host_sim.accept.bench import Bench, readings, unsettled_words
from host_sim.accept.figures import STATIC, Figure
from host_sim.accept.rows import Rows
from host_sim.accept.static_figures import static_figures
from host_sim.measure.static import evaluate_static
from host_sim.measure.static_table import StaticRange, StaticTable, Travel


@dataclass(frozen=True)
class StaticSequence:
    """Up and down through ``points`` inputs of 0 ... 100 %, several times."""

    points: int = 9
    cycles: int = 3
    name: str = "static"
    needs: tuple[type, ...] = ()
    figures: tuple[str, ...] = tuple(STATIC)

    def run(self, bench: Bench) -> None:
        """Exercise once over the whole travel, then read every point."""
        inputs = np.linspace(0.0, 100.0, self.points).tolist()
        for end in (100.0, 0.0):
            bench.hold(end, bench.rest.least_s, "exercise")
        for cycle in range(1, self.cycles + 1):
            for way, order in (("up", inputs), ("down", inputs[::-1])):
                for percent in order:
                    bench.read(percent, f"{cycle} {way} {percent!r}")

    def evaluate(self, rows: Rows, span: StaticRange) -> list[Figure]:
        """Work the static terms out from the readings."""
        found = readings(rows)
        travels = []
        for key in dict.fromkeys(segment.words[1:3] for segment in found):
            way = [segment for segment in found if segment.words[1:3] == key]
            way.sort(key=lambda segment: float(segment.words[3]))
            travels.append(
                Travel(
                    name=f"cycle {key[0]} {key[1]}",
                    rising=key[1] == "up",
                    current_ma=np.array([s.current_ma[0] for s in way]),
                    reading_pa=np.array([s.mean_pa for s in way]),
                )
            )
        figures = static_figures(evaluate_static(StaticTable(span, tuple(travels))))
        words = unsettled_words(found)
        return [Figure(f.name, f.text + words, f.measured) for f in figures]
