"""The static evaluation as figures with names, for verdicts and reports."""

from host_sim.accept.figures import Figure
from host_sim.measure.static import Peak, StaticEvaluation
from host_sim.measure.static_lines import Line


def static_figures(found: StaticEvaluation) -> list[Figure]:
    """Name the results of a static evaluation.

    Parameters
    ----------
    found : StaticEvaluation

    Returns
    -------
    list of Figure
        Those of `figures.STATIC`, in their order.
    """
    sizes = f"{found.above.percent:+.3g}, {found.below.percent:+.3g} %"
    alone = "no dead band was given"
    if found.dead_band_percent is not None:
        alone = f"dead band {found.dead_band_percent:.3g} % of input"
    return [
        Figure("inaccuracy", sizes, found.inaccuracy_percent),
        _peak("measured_error", found.measured_error),
        _peak("hysteresis", found.hysteresis),
        _peak("hysteresis_single_cycle", found.hysteresis_cycle),
        Figure("hysteresis_alone", alone, found.hysteresis_alone_percent),
        _peak("repeatability", found.repeatability),
        *(_linearity(f"linearity_{name}", line) for name, line in found.lines.items()),
        _end("zero_error", found.zero_error_percent, "at 0 % input"),
        _end("span_error", found.span_error_percent, "from 0 to 100 % input"),
    ]


def _peak(name: str, peak: Peak | None) -> Figure:
    if peak is None:
        return Figure(name, "the travels do not tell it", None)
    return Figure(name, f"at {peak.at_input_percent:.4g} % input", peak.percent)


def _linearity(name: str, line: Line) -> Figure:
    text = f"{line.above_percent:+.3g}, {line.below_percent + 0.0:+.3g} %"
    return Figure(name, text, line.linearity_percent)


def _end(name: str, percent: float | None, words: str) -> Figure:
    return Figure(name, words if percent is not None else "no point there", percent)
