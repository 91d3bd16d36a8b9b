"""Tuning rules as tables, and the step answers that they give."""

from typing import TYPE_CHECKING

from rich.console import Console

from host_sim.show.margins import (
    MARGIN_COLUMNS,
    curve_look,
    finite,
    margin_cells,
)
from host_sim.show.style import GREY, INK
from host_sim.show.tables import console, new_table, show_cautions
from host_sim.tune.forms import Ideal, Series
from host_sim.tune.rules_reduce import reductions
from host_sim.tune.rules_report import series_or_reason
from host_sim.tune.rules_trial import RuleStudy, StepAnswers, Trial

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

PANELS = (
    ("Z-N step",),
    ("Z-N frequency",),
    ("Cohen-Coon",),
    ("SIMC",),
    ("AMIGO",),
    ("lambda", "IMC"),
)
LOWEST, HIGHEST = -0.3, 2.1
FORM_COLUMNS = ("kc", "ti s", "td s")


def show_rules(study: RuleStudy, title: str, notes: list[str]) -> None:
    """Print the plant as rules see it, gains in all forms, margins, notes."""
    out = console()
    _show_plant(study, title, out)
    _show_gains(study, out)
    _show_margins(study, out)
    _show_notes(study, notes, out)
    show_cautions(out)


def _show_plant(study: RuleStudy, title: str, out: Console) -> None:
    columns = ("small model", "gain", "lags s", "dead time s", "error %", "source")
    table = new_table(f"{title}: the plant as rules see it", columns)
    table.columns[-1].justify = "left"
    missing = []
    for each in reductions(study.facts):
        if each.model is None:
            missing.append(f"no model by {each.name}: {each.reason}")
            continue
        model = each.model
        table.add_row(
            each.name,
            f"{model.gain:.4g}",
            ", ".join(f"{lag_s:.4g}" for lag_s in model.lags_s) or "integrating",
            f"{model.dead_time_s:.4g}",
            f"{100 * each.error:.2g}",
            each.source,
        )
    out.print(table)
    for line in missing:
        out.print(line)
    law, ultimate = study.loop.law, study.facts.ultimate
    out.print(
        f"ultimate gain {ultimate.gain:.4g}, period {ultimate.period_s:.4g} s; error: "
        "of the model's gain at that frequency"
    )
    out.print(
        "gain: share of range over share of full drive (integrating: in a second); "
        f"every dead time holds half a tick of {1e3 * law.tick_s:g} ms, "
        f"{study.loop.compute_delay_ticks} ticks of computing and the pressure filter "
        f"of {1e3 * law.measurement.filter_s:.3g} ms\n"
    )


def _show_gains(study: RuleStudy, out: Console) -> None:
    columns = ("rule", "form", *FORM_COLUMNS, *FORM_COLUMNS, "kp", "ki 1/s", "kd s")
    title = "Gains: ideal form, series form, parallel form (the law's), weight"
    table = new_table(title, (*columns, "weight"))
    for proposal in study.answers.proposals:
        series = series_or_reason(proposal.ideal)
        gains = proposal.gains
        table.add_row(
            proposal.rule.name,
            proposal.form,
            *_form_cells(proposal.ideal),
            *(("none", "-", "-") if isinstance(series, str) else _form_cells(series)),
            f"{gains.kp:.4g}",
            f"{gains.ki_per_s:.4g}",
            f"{gains.kd_s:.3g}",
            f"{proposal.setpoint_weight:g}",
        )
    out.print(table)
    out.print("no series form exists where ti is below 4 td\n")


def _form_cells(form: Ideal | Series) -> tuple[str, ...]:
    return f"{form.kc:.3g}", finite(form.ti_s, ".3g"), f"{form.td_s:.3g}"


def _show_margins(study: RuleStudy, out: Console) -> None:
    table = new_table("Margins of the sampled loop", ("rule", *MARGIN_COLUMNS))
    for trial in study.trials:
        table.add_row(trial.proposal.rule.name, *margin_cells(trial.margins))
    out.print(table)


def _show_notes(study: RuleStudy, notes: list[str], out: Console) -> None:
    for note in notes:
        out.print(f"note: {note}")
    out.print("note: derivative filter a tenth of td (common practice, no source)")
    proposals = study.answers.proposals
    unstable = [t.proposal.rule.name for t in study.trials if not t.margins.stable]
    _print_grouped("UNSTABLE", [("closed loop", name) for name in unstable], out)
    _print_grouped(
        "warning",
        [(text, each.rule.name) for each in proposals for text in each.warnings],
        out,
    )
    refusals = [(each.reason, each.rule.name) for each in study.answers.refusals]
    _print_grouped("refused", refusals, out)
    _print_grouped("source", [(p.rule.source, p.rule.name) for p in proposals], out)


def _print_grouped(head: str, pairs: list[tuple[str, str]], out: Console) -> None:
    """Print each text once, behind the names of all rules that it is about."""
    for text in dict.fromkeys(text for text, _ in pairs):
        names = ", ".join(name for other, name in pairs if other == text)
        out.print(f"{head}: {names}: {text}")


def rules_figure(study: RuleStudy, steps: StepAnswers, title: str) -> "Figure":
    """Draw a set-point step and a load step under every rule."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(9.0, 8.4), dpi=140, layout="constrained")
    grid = figure.subplots(3, 2, sharex=True, sharey=True)
    pairs = list(zip(study.trials, steps.pressures, strict=True))
    for panel, stems in zip(grid.flat, PANELS, strict=True):
        mine = [p for p in pairs if p[0].proposal.rule.name.startswith(stems)]
        for k, (trial, pressure) in enumerate(mine):
            colour, style = curve_look(k)
            # Beyond the panel only an unstable loop goes; its numbers overflow.
            shown = pressure.clip(2.0 * LOWEST, 2.0 * HIGHEST)
            panel.plot(
                steps.time_s, shown, color=colour, linestyle=style, label=_label(trial)
            )
        _finish(panel, steps, ", ".join(stems), empty=not mine)
    for panel in grid[-1]:
        panel.set_xlabel("time, s")
    for panel in grid[:, 0]:
        panel.set_ylabel("pressure, % of range")
    figure.suptitle(
        f"{title}\nsmall movements: set-point step of 1 % of range, then a load step "
        f"of {steps.load:.3g} % of full drive",
        fontsize="medium",
    )
    return figure


def _finish(panel: "Axes", steps: StepAnswers, title: str, *, empty: bool) -> None:
    half_s = float(steps.time_s[len(steps.time_s) // 2])
    panel.step([0.0, steps.time_s[-1]], [1.0, 1.0], color=INK, linewidth=0.8)
    panel.axvline(half_s, color=GREY, linewidth=1.0, linestyle=(0, (1, 1.2)))
    panel.set_ylim(LOWEST, HIGHEST)
    panel.margins(x=0.01)
    panel.grid(visible=True, color="#e3e5e8", linewidth=0.8)
    panel.spines[["top", "right"]].set_visible(False)
    panel.set_title(title, fontsize="medium", loc="left")
    if empty:
        words = "no answer for this plant"
        panel.text(0.5, 0.8, words, transform=panel.transAxes, ha="center")
    else:
        panel.legend(
            loc="upper right", fontsize="x-small", framealpha=0.9, edgecolor="none"
        )


def _label(trial: Trial) -> str:
    ideal, rule = trial.proposal.ideal, trial.proposal.rule
    text = f"{rule.name.rsplit(' ', 1)[1]}: kc {ideal.kc:.3g}"
    if rule.name.startswith(("lambda", "IMC")):
        text = f"{rule.name}: kc {ideal.kc:.3g}"
    if ideal.ti_s < float("inf"):
        text += f", ti {ideal.ti_s:.3g} s"
    if ideal.td_s:
        text += f", td {ideal.td_s:.3g} s"
    stable = f"Ms {trial.margins.ms:.2f}" if trial.margins.stable else "unstable"
    return f"{text}; {stable}"
