"""The tables and the figure of a word-length study."""

from typing import TYPE_CHECKING

import numpy as np

from host_sim.measure.agreement import LSB_PERCENT
from host_sim.show.style import BLUE, GREY, INK, ORANGE, PLUM, TEAL
from host_sim.show.tables import (
    NOT_KNOWN,
    console,
    new_table,
    pressure_text,
    show_cautions,
)
from host_sim.tune.wordlength_integral import dead_zone_curve
from host_sim.tune.wordlength_report import judgment, study_notes
from host_sim.tune.wordlength_results import (
    SWING_PERCENT,
    Axis,
    RestCase,
    Trial,
    WordLengthStudy,
    largest_cycle_s,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

TRIAL_COLUMNS = (
    "bits of",
    "",
    "off %",
    "rms %",
    "S/N dB",
    "later s",
    "rest off %",
    "out p-p %",
    "load p-p %",
    "period s",
    "",
)
REST_COLUMNS = (
    "left alone",
    "still",
    "cycles",
    "restless",
    "out p-p %",
    "load p-p %",
    "period s",
    "error %",
)
LAWS = {
    "carried": "remainders carried",
    "dropped": "remainders dropped",
    "ideal": "ideal law",
}
LINES = {
    "gains": (BLUE, "-", "o"),
    "scales": (ORANGE, (0, (4, 1.5)), "s"),
    "pressure converter": (TEAL, (0, (6, 1.5, 1, 1.5)), "D"),
    "command converter": (PLUM, (0, (2.5, 1.2)), "^"),
    "signals": (INK, (0, (1, 1.2)), "v"),
}
ZONE_LINES = {
    "truncation": (ORANGE, (0, (4, 1.5))),
    "rounding": (PLUM, (0, (2.5, 1.2))),
}
REST_LINES = {
    "ideal": (GREY, (0, (4, 1.5)), 2.2),
    "dropped": (ORANGE, (0, (1, 1.0)), 1.8),
    "carried": (BLUE, "-", 1.4),
}
SHOWN_PERIODS = 6.0
KI_DECADES = 3.0
KI_POINTS = 200


def show_word_lengths(study: WordLengthStudy) -> None:
    """Print decisive rows, loops at rest, judgment, notes, cautions."""
    out = console()
    title = f"{study.scenario.title}: against the float law on converters without steps"
    table = new_table(title, TRIAL_COLUMNS)
    table.add_row("as it stands", "", *_trial_cells(study.own), "")
    for axis in study.axes:
        for k, (bits, word) in enumerate(_decisive(study, axis)):
            name = "" if k else axis.name.removesuffix(" converter")
            table.add_row(name, str(bits), *_trial_cells(axis.trials[bits]), word)
    if study.together is not None:
        extra = study.together.extra
        name = f"together, +{extra}" if extra else "together"
        table.add_row(name, "", *_trial_cells(study.together.trial), "enough")
    out.print(table)
    out.print(
        "off: from the ideal law, of the range; p-p: swing at rest, peak to peak; "
        "error: mean, from the set point; all at the worst level"
    )
    out.print()
    seen = f"the last {study.rest.watched_s:.3g} s at {len(study.rest.levels)} levels"
    table = new_table(f"At rest, no noise: {seen}", REST_COLUMNS)
    for case in study.rest_cases:
        table.add_row(*_rest_cells(case))
    out.print(table)
    out.print()
    for paragraph in judgment(study, pressure_text(study.scenario)):
        out.print(paragraph)
    for note in study_notes(study):
        out.print(f"note: {note}")
    show_cautions(out)


def _decisive(study: WordLengthStudy, axis: Axis) -> list[tuple[int, str]]:
    """Choose what there is, the fewest enough, and one fewer."""
    enough = study.limits.fewest(axis)
    words = {axis.has: "has"}
    if enough is not None:
        words[enough] = "has, enough" if enough == axis.has else "enough"
    fewer = max(axis.trials) if enough is None else enough - 1
    words[fewer] = "has, too few" if fewer == axis.has else "too few"
    return [(bits, words[bits]) for bits in axis.trials if bits in words]


def _trial_cells(trial: Trial) -> tuple[str, ...]:
    lost = f"{trial.lost_steps} lost"
    return (
        f"{trial.largest_percent:.3f}",
        f"{trial.rms_percent:.4f}",
        f"{trial.signal_to_noise_db:.0f}",
        lost if trial.lost_steps else f"{trial.later_s:.3f}",
        f"{trial.rest_error_percent:.3f}",
        f"{trial.output_swing_percent:.3f}",
        f"{trial.pressure_swing_percent:.3f}",
        _period(trial.period_s),
    )


def _period(period_s: float | None) -> str:
    return NOT_KNOWN if period_s is None else f"{period_s:.2f}"


def _rest_cells(case: RestCase) -> tuple[str, ...]:
    deadband = (
        f"deadband {100 * case.deadband:.2g} %" if case.deadband else "no deadband"
    )
    states = [swing.state for swing in case.swings]
    return (
        f"{LAWS[case.law]}, {deadband}",
        *(str(states.count(state)) for state in ("still", "cycle", "restless")),
        f"{max(swing.output_swing_percent for swing in case.swings):.3f}",
        f"{max(swing.pressure_swing_percent for swing in case.swings):.3f}",
        _period(largest_cycle_s(case.swings)),
        f"{max(abs(swing.error_percent) for swing in case.swings):.3f}",
    )


def word_length_figure(study: WordLengthStudy) -> "Figure":
    """Draw difference and swing over bits, a loop at rest, dead zones."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(9.0, 7.6), dpi=140, layout="constrained")
    panels = figure.subplot_mosaic([["off", "swing"], ["rest", "zone"]])
    for panel in panels.values():
        panel.grid(visible=True, color="#e3e5e8", linewidth=0.8)
        panel.spines[["top", "right"]].set_visible(False)
    _draw_trials(panels["off"], panels["swing"], study)
    _draw_rest(panels["rest"], study)
    _draw_zones(panels["zone"], study)
    figure.suptitle(f"{study.scenario.title}: fewer bits, one place at a time")
    return figure


def _draw_trials(off: "Axes", swing: "Axes", study: WordLengthStudy) -> None:
    from matplotlib.ticker import MultipleLocator

    for axis in study.axes:
        colour, style, marker = LINES[axis.name]
        bits, trials = list(axis.trials), axis.trials.values()
        for panel, numbers in (
            (off, [trial.largest_percent for trial in trials]),
            (swing, [trial.swing_growth_percent for trial in trials]),
        ):
            panel.plot(
                bits,
                np.maximum(numbers, LSB_PERCENT),
                color=colour,
                linestyle=style,
                marker=marker,
                markersize=4.0,
                label=axis.name,
            )
    for panel, limit, words in (
        (off, study.limits.off_percent, "half the settle band"),
        (swing, SWING_PERCENT, "limit"),
    ):
        panel.set_yscale("log")
        panel.yaxis.set_major_formatter("{x:g}")
        panel.set_xlabel("bits")
        panel.xaxis.set_major_locator(MultipleLocator(2))
        _mark_level(panel, limit, words)
    # The curves fall to the right; a decade more keeps that corner free.
    off.set_ylim(top=10.0 * off.get_ylim()[1])
    off.legend(loc="upper right", frameon=False, fontsize="small")
    swing.set_ylim(bottom=LSB_PERCENT / 2)
    swing.set_yticks([LSB_PERCENT], ["none"], minor=True)
    off.set_ylabel("largest difference to the\nideal law, % of range")
    swing.set_ylabel(
        "output at rest swings more than\nthe ideal law's, peak to peak, %"
    )


def _mark_level(panel: "Axes", level: float, words: str) -> None:
    panel.axhline(level, color=GREY, linewidth=1.2)
    panel.annotate(
        words,
        (1.0, level),
        xycoords=("axes fraction", "data"),
        xytext=(-2, 3),
        textcoords="offset points",
        ha="right",
        fontsize=8,
        color=INK,
    )


def _draw_rest(panel: "Axes", study: WordLengthStudy) -> None:
    """Draw the three laws at the level where they move most together."""
    cases = {law: study.left_alone(law, 0.0) for law in LAWS}
    moves = [
        [swing.output_swing_percent for swing in case.swings] for case in cases.values()
    ]
    place = int(np.argmax(np.sum(moves, axis=0)))
    shown = cases["carried"].swings[place]
    tick_s = study.scenario.law.tick_s
    ticks = shown.error_trace_percent.size
    if shown.period_s is not None:
        ticks = min(ticks, round(SHOWN_PERIODS * shown.period_s / tick_s))
    time_s = np.arange(ticks) * tick_s
    for law, (colour, style, width) in REST_LINES.items():
        panel.plot(
            time_s,
            cases[law].swings[place].error_trace_percent[-ticks:],
            color=colour,
            linestyle=style,
            linewidth=width,
            label=LAWS[law],
        )
    level = f"{shown.level_percent:.0f} % of range"
    panel.set_xlabel(f"time, s (at rest at {level}, no deadband)")
    panel.set_ylabel("pressure minus set point,\n% of range")
    _legend_above(panel)


def _legend_above(panel: "Axes") -> None:
    panel.legend(
        loc="lower left",
        bbox_to_anchor=(-0.06, 1.0),
        ncols=3,
        fontsize="small",
        frameon=False,
        columnspacing=1.0,
    )


def _draw_zones(panel: "Axes", study: WordLengthStudy) -> None:
    """Draw the smallest error that an integrator sees over its gain."""
    panel.set_ylabel("smallest error that moves\nthe output, % of range")
    integral = study.integral
    if integral is None:
        panel.set_xlabel("integral gain ki, 1/s (this law has none)")
        return
    highest = 2.0 / integral.tick_s
    lowest = min(integral.ki_per_s, 1.0) / 10.0**KI_DECADES
    gains_per_s = np.geomspace(lowest, highest, KI_POINTS).tolist()
    for name, (colour, style) in ZONE_LINES.items():
        curve = dead_zone_curve(name, integral.tick_s, gains_per_s)
        ki_per_s, errors = zip(*curve, strict=True)
        panel.plot(
            ki_per_s,
            np.array(errors) * LSB_PERCENT,
            color=colour,
            linestyle=style,
            label=name,
        )
    panel.plot(
        [lowest, highest],
        [LSB_PERCENT, LSB_PERCENT],
        color=BLUE,
        linewidth=2.2,
        label="remainder carried",
    )
    panel.axvline(integral.ki_per_s, color=INK, linewidth=1.0)
    panel.set_xscale("log")
    panel.set_yscale("log")
    panel.set_ylim(top=100.0)
    panel.yaxis.set_major_formatter("{x:g}")
    band_percent = 100 * study.scenario.settle_band
    _mark_level(panel, band_percent, "settle band")
    panel.annotate(
        "this ki",
        (integral.ki_per_s, 1.0),
        xycoords=("data", "axes fraction"),
        xytext=(3, -10),
        textcoords="offset points",
        fontsize=8,
        color=INK,
    )
    panel.set_xlabel(
        f"integral gain ki, 1/s (at a tick of {1e3 * integral.tick_s:g} ms)"
    )
    _legend_above(panel)
