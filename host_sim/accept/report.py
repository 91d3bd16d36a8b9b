"""An acceptance as JSON and as JUnit XML."""

from typing import Any
from xml.etree import ElementTree

from host_sim.accept.acceptance import Acceptance
from host_sim.accept.verdicts import (
    FAIL,
    MARGINAL,
    NOT_MEASURED,
    Verdict,
    verdict_as_dict,
)
from host_sim.device.fault_campaign import run_as_dict

TERMS = (
    "Terms of ISO 10094, IEC 61298-2, IEC 60770-1 and ISA-51.1, from memory: the "
    "standards were not opened."
)


def acceptance_as_dict(done: Acceptance) -> dict[str, Any]:
    """Tell everything with units in the keys."""
    return {
        "title": done.scenario.title,
        "made_with": done.made_with,
        "complete": done.is_complete,
        "stopped": done.stopped,
        "passes": done.passes,
        "terms": TERMS,
        "sequences": {
            result.name: {
                "finished": result.finished,
                "ticks": len(result.rows.table),
                "figures": {
                    verdict.figure.name: verdict_as_dict(verdict)
                    for verdict in result.verdicts
                },
            }
            for result in done.results
        },
        "faults": [run_as_dict(run) for run in done.faults],
    }


def junit_text(done: Acceptance) -> str:
    """Write one test case a figure: what fails is a failure, what lacks is skipped."""
    suites = ElementTree.Element(
        "testsuites", name=f"acceptance: {done.scenario.title}"
    )
    for result in done.results:
        words = [verdict.word for verdict in result.verdicts]
        suite = ElementTree.SubElement(
            suites,
            "testsuite",
            name=result.name,
            tests=str(len(words)),
            failures=str(words.count(FAIL)),
            skipped=str(words.count(NOT_MEASURED)),
        )
        for verdict in result.verdicts:
            _add_case(suite, result.name, verdict)
    _add_faults(suites, done)
    ElementTree.indent(suites)
    head = '<?xml version="1.0" encoding="utf-8"?>\n'
    return head + ElementTree.tostring(suites, encoding="unicode") + "\n"


def _add_case(suite: ElementTree.Element, name: str, verdict: Verdict) -> None:
    case = ElementTree.SubElement(
        suite, "testcase", classname=f"acceptance.{name}", name=verdict.figure.name
    )
    words = in_words(verdict)
    if verdict.word == FAIL:
        ElementTree.SubElement(case, "failure", message=words)
    elif verdict.word == NOT_MEASURED:
        ElementTree.SubElement(case, "skipped", message=verdict.figure.text)
    elif verdict.word == MARGINAL:
        ElementTree.SubElement(case, "system-out").text = f"marginal: {words}"


def _add_faults(suites: ElementTree.Element, done: Acceptance) -> None:
    if not done.faults:
        return
    bad = [run for run in done.faults if not run.as_stated]
    suite = ElementTree.SubElement(
        suites,
        "testsuite",
        name="faults",
        tests=str(len(done.faults)),
        failures=str(len(bad)),
        skipped="0",
    )
    for run in done.faults:
        name = f"{run.label}, {run.moment}"
        case = ElementTree.SubElement(
            suite, "testcase", classname="acceptance.faults", name=name
        )
        if run in bad:
            ElementTree.SubElement(case, "failure", message="not as the table states")
        elif run.unwatched:
            ElementTree.SubElement(case, "system-out").text = run.unwatched


def in_words(verdict: Verdict) -> str:
    """Say a figure and its limit."""
    figure = verdict.figure
    measured = "-" if figure.measured is None else f"{figure.measured:.4g}"
    said = f"{figure.name} {measured} {figure.unit}"
    if verdict.limit is None:
        return said
    return f"{said}, {figure.known.sense} {verdict.limit:.4g}"
