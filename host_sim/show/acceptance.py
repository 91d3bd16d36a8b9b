"""An acceptance as one page to keep, and as a table for a terminal."""

import importlib.resources
import math
from typing import Any

from host_sim.accept.acceptance import Acceptance, SequenceResult
from host_sim.accept.folder import Folder
from host_sim.accept.report import TERMS
from host_sim.accept.verdicts import FAIL, MARGINAL, PASS, Verdict
from host_sim.show.acceptance_figures import sequence_svg, svg_text
from host_sim.show.calibration import show_verdicts
from host_sim.show.cautions import CAUTIONS
from host_sim.show.faults import grid_figure, outcome
from host_sim.show.tables import console

TITLES = {
    "static": "Static characteristic",
    "steps": "Step responses",
    "frequency": "Frequency response",
    "resolution": "Resolution and reversal",
    "supply": "Effect of the supply pressure",
    "long_run": "Long run",
    "restart": "Warm restart and power cut",
    "flow": "Forward and relief flow",
    "leakage": "Leakage",
}
CSS = {PASS: "pass", MARGINAL: "marginal", FAIL: "fail"}
DASH = "\N{EN DASH}"


def acceptance_html(done: Acceptance, folder: Folder) -> str:
    """Write the report: one file, no script, nothing from elsewhere."""
    from jinja2 import Environment

    page = importlib.resources.files("host_sim") / "show" / "pages" / "acceptance.html"
    template = Environment(autoescape=True, trim_blocks=True).from_string(
        page.read_text(encoding="utf-8")
    )
    outcome, outcome_class = _outcome(done)
    return template.render(
        title=done.scenario.title,
        made_with=done.made_with,
        outcome=outcome,
        outcome_class=outcome_class,
        stopped=done.stopped,
        complete=", ".join(r.name for r in done.results if r.finished),
        cautions=CAUTIONS,
        sequences=[_sequence(done, result) for result in done.results],
        faults=_faults(done),
        made_rows=[
            (key.replace("_", " "), said) for key, said in done.made_with.items()
        ],
        files=list(folder.manifest["sequences"].values()),
        terms=TERMS,
    )


def _outcome(done: Acceptance) -> tuple[str, str]:
    words = [verdict.word for verdict in done.verdicts]
    counts = f"{words.count(PASS)} pass, {words.count(MARGINAL)} marginal"
    counts += f", {words.count(FAIL)} fail"
    if not done.passes:
        what = "Not accepted" if done.is_complete else "Not complete"
        return f"{what}: {counts}.", "fail"
    if done.limits is None:
        return "Measured, not judged: no limits were given.", "quiet"
    return f"Within its limits: {counts}.", "marginal" if MARGINAL in words else "pass"


def _sequence(done: Acceptance, result: SequenceResult) -> dict[str, Any]:
    svg, caption = sequence_svg(done.scenario, result)
    return {
        "title": TITLES.get(result.name, result.name),
        "finished": result.finished,
        "rows": [_row(verdict) for verdict in result.verdicts],
        "svg": svg,
        "caption": caption,
    }


def _faults(done: Acceptance) -> dict[str, Any] | None:
    if not done.faults:
        return None
    tick_s = done.scenario.law.tick_s
    rows = [
        {
            "name": f"{run.label.lower()}, {run.moment}",
            "stated": f"{run.stated_ticks * tick_s:.3g} s",
            "found": DASH
            if run.found_ticks is None
            else f"{run.found_ticks * tick_s:.3g} s",
            "moved": f"{100 * run.excursion:.0f} % of span",
            "word": outcome(run),
            "css": "quiet" if run.unwatched else "pass" if run.as_stated else "fail",
        }
        for run in done.faults
    ]
    kept = sum(run.as_stated for run in done.faults)
    return {
        "rows": rows,
        "svg": svg_text(grid_figure(done.faults), "faults"),
        "kept": f"{kept} of {len(rows)} as the table of faults states.",
    }


def _row(verdict: Verdict) -> dict[str, str]:
    figure = verdict.figure
    return {
        "name": figure.name.replace("_", " "),
        "meaning": figure.known.meaning,
        "measured": _number(figure.measured, figure.unit),
        "limit": _number(verdict.limit, figure.unit),
        "margin": _number(verdict.margin, figure.unit),
        "word": verdict.word,
        "css": CSS.get(verdict.word, "quiet"),
        "text": figure.text,
    }


def _number(number: float | None, unit: str) -> str:
    if number is None:
        return DASH
    return f"{number:.3g} {unit}" if math.isfinite(number) else "never"


def show_acceptance(done: Acceptance) -> None:
    """Print every figure with its verdict."""
    out = console()
    for result in done.results:
        out.print(TITLES.get(result.name, result.name))
        show_verdicts(result.verdicts, out)
    if done.faults:
        kept = sum(run.as_stated for run in done.faults)
        out.print(f"Faults: {kept} of {len(done.faults)} as the table states")
    out.print(f"\n{_outcome(done)[0]}")
    for caution in CAUTIONS:
        out.print(caution)
