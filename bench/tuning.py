"""Race `tune` against the published rules on ten machines; write results/tuning.*.

Run as ``python -m bench.tuning``: ten invented machines, a family of 200 each,
two races a machine (`bench.tuning_race`), some 30 s a race. Ctrl-C shows what is
finished and leaves the results alone.
"""

import sys
import tempfile
from pathlib import Path

from bench.host_machine import describe_machine
from bench.tuning_figure import race_figure
from bench.tuning_plants import DRAWN, load_machine
from bench.tuning_race import Progress, Race, race_machine
from bench.tuning_report import as_json, as_markdown
from host_sim.show.files import check_writable, make_folder, write_whole
from host_sim.show.progress import sharing
from host_sim.show.style import save

RESULTS = Path(__file__).with_name("results")
STOPPED = 130
"""Exit code after Ctrl-C: 128 and the number of the signal."""


def race_all(machines: int, progress: Progress, finished: list[Race]) -> None:
    """Race machine after machine; what is finished is added to ``finished``."""
    with tempfile.TemporaryDirectory() as folder:
        for number in range(machines):
            finished += race_machine(
                number,
                load_machine(number, Path(folder)),
                _part(progress, number, machines),
            )


def _part(progress: Progress, number: int, machines: int) -> Progress:
    return lambda words, share: progress(words, (number + share) / machines)


def main() -> int:
    """Race, print, draw, write."""
    make_folder(RESULTS)
    table, tracking, figure = (RESULTS / f"tuning.{e}" for e in ("md", "json", "png"))
    check_writable(table, tracking, figure)
    machine, races = describe_machine(), list[Race]()
    try:
        with sharing() as progress:
            race_all(DRAWN, progress, races)
    except KeyboardInterrupt:
        print(as_markdown(races, machine), end="")
        return STOPPED
    text, numbers = as_markdown(races, machine), as_json(races, machine)
    write_whole(table, lambda path: path.write_text(text, encoding="utf-8"))
    write_whole(tracking, lambda path: path.write_text(numbers, encoding="utf-8"))
    save(race_figure(races), figure)
    print(text, end="")
    return 0


if __name__ == "__main__":
    sys.exit(main())
