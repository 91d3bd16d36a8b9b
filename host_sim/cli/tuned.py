"""Writing a law that was found: into a scenario, and as a parameter block."""

import json
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from host_sim.show.files import write_whole

if TYPE_CHECKING:
    from host_sim.law.settings import LawSettings


def write_scenario(path: Path | None, tuned_for: Path, law: "LawSettings") -> None:
    """Write a scenario file with the law's controller, if asked for."""
    from host_sim.tune.rewrite import retuned_text

    if path is not None:
        text = retuned_text(tuned_for, law, path)
        write_whole(path, partial(Path.write_text, data=text, encoding="utf-8"))


def write_block(path: Path | None, law: "LawSettings") -> None:
    """Write the board's parameters as JSON, if asked for."""
    from host_sim.tune.rewrite import block_as_dict

    if path is not None:
        text = json.dumps(block_as_dict(law), indent=2) + "\n"
        write_whole(path, partial(Path.write_text, data=text, encoding="utf-8"))
