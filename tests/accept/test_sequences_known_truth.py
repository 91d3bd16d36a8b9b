"""Each sequence on a rig whose truth is built in.

Step metrics of a second-order lag with damping 0.5: overshoot 16.3034 %, rise
1.63757 and settling 8.07635 periods of 1/wn (closed forms; recomputed outside the
project with python-control 0.10.2). Tolerance: a tick of 1 ms and straight lines
between samples, 0.5 % of each.
"""

import control
import pytest

from host_sim.accept.bench import Rest
from host_sim.accept.figures import NEVER
from host_sim.accept.rows import read_rows, sha256
from host_sim.accept.run import run_sequence
from host_sim.accept.sequence_resolution import ResolutionSequence
from host_sim.accept.sequence_rest import (
    FlowSequence,
    LeakageSequence,
    LongRunSequence,
    SupplySequence,
)
from host_sim.accept.sequence_restart import RestartSequence
from host_sim.accept.sequence_static import StaticSequence
from host_sim.accept.sequence_steps import StepSequence
from host_sim.accept.verdicts import NOT_MEASURED, judge
from host_sim.errors import InputError

WN = 10.0
SECOND = control.tf([WN**2], [1.0, WN, WN**2])


def figures(sequence, rig, span, rest):
    finished = run_sequence(sequence, rig, span, rest)
    assert {figure.name for figure in finished.figures} == set(sequence.figures)
    return {figure.name: figure for figure in finished.figures}, finished.rows


def test_static_sequence_finds_play_and_bow(made_rig, span, quick):
    rig = made_rig(play=0.008, bow=0.005)
    found, _ = figures(StaticSequence(points=11, cycles=2), rig, span, quick)
    # The play shows whole between the ends: near them the way is too short.
    assert found["hysteresis"].measured == pytest.approx(0.8, abs=0.03)
    assert found["repeatability"].measured == pytest.approx(0.0, abs=0.01)
    assert found["inaccuracy"].measured == pytest.approx(0.9, abs=0.03)


def test_static_sequence_of_a_bow_has_the_linearities_of_the_closed_form(
    made_rig, span, quick
):
    found, _ = figures(
        StaticSequence(points=11, cycles=1), made_rig(bow=0.005), span, quick
    )
    assert found["linearity_terminal"].measured == pytest.approx(0.5, abs=0.01)
    assert found["linearity_independent"].measured == pytest.approx(0.25, abs=0.01)
    assert found["linearity_zero_based"].measured == pytest.approx(0.342857, abs=0.01)
    assert found["repeatability"].measured is None


def test_step_sequence_has_the_metrics_of_the_closed_form(linear_rig, span, quick):
    sequence = StepSequence(steps=((20.0, 80.0), (80.0, 20.0)), watch_s=3.0)
    found, _ = figures(sequence, linear_rig(SECOND, 0.001), span, quick)
    assert found["overshoot"].measured == pytest.approx(16.3034, rel=0.005)
    assert found["rise_time"].measured == pytest.approx(1.63757 / WN, rel=0.005)
    assert found["settling_time"].measured == pytest.approx(8.07635 / WN, rel=0.005)
    assert found["steady_error"].measured == pytest.approx(0.0, abs=1e-3)
    # 2 % of this step is reached after sqrt(0.04) / wn and a little.
    assert found["dead_time"].measured == pytest.approx(0.0207, abs=0.001)


def test_step_sequence_says_never_where_a_step_does_not_settle(linear_rig, span):
    slow = control.tf([1.0], [5.0, 1.0])
    rest = Rest(most_s=2.0)
    sequence = StepSequence(steps=((20.0, 80.0),), watch_s=2.0)
    found, _ = figures(sequence, linear_rig(slow, 0.01), span, rest)
    assert found["settling_time"].measured == NEVER
    assert "not within 1.99 s" in found["settling_time"].text


def test_resolution_sequence_finds_the_play(made_rig, span, quick):
    sequence = ResolutionSequence(increment_percent=0.02, dwell_s=0.3)
    found, _ = figures(sequence, made_rig(play=0.005), span, quick)
    # Onward there is no play; both need what counts as moved, to an increment.
    assert found["resolution"].measured == pytest.approx(0.05, abs=0.021)
    assert found["dead_band"].measured == pytest.approx(0.55, abs=0.021)


def test_resolution_sequence_says_never_where_nothing_moves(made_rig, span, quick):
    sequence = ResolutionSequence(
        points_percent=(50.0,), increment_percent=0.1, dwell_s=0.1, most_percent=0.5
    )
    found, _ = figures(sequence, made_rig(play=0.02), span, quick)
    assert found["dead_band"].measured == NEVER


def test_supply_sequence_finds_the_lean_and_restores_the_supply(made_rig, span, quick):
    rig = made_rig(supply_lean=0.05)
    found, _ = figures(SupplySequence(shares=(1.0, 0.8, 1.1)), rig, span, quick)
    assert found["supply_effect"].measured == pytest.approx(-1.0, abs=0.01)
    assert "at 80 %" in found["supply_effect"].text
    assert found["supply_excursion"].measured == pytest.approx(-1.0, abs=0.01)
    assert rig.supply_set_pa == 9e5


def test_flow_sequence_finds_droop_and_relief_and_leaves_no_flow(made_rig, span, quick):
    rig = made_rig(flow_lean=10.0)
    found, _ = figures(FlowSequence((0.001, 0.002)), rig, span, quick)
    assert found["droop"].measured == pytest.approx(2.0, abs=0.02)
    assert found["relief_rise"].measured == pytest.approx(2.0, abs=0.02)
    # 2 g/s at 1.185 kg/m3.
    assert "101.3 l/min ANR" in found["droop"].text
    assert rig.flow_kg_s == 0.0


def test_leakage_sequence_reads_the_meter(made_rig, linear_rig, span, quick):
    sequence = LeakageSequence(watch_s=1.0)
    found, _ = figures(sequence, made_rig(leak_kg_s=1e-4), span, quick)
    assert found["leakage"].measured == pytest.approx(1e-4 / 1.185 * 6e4, rel=1e-6)
    found, _ = figures(sequence, linear_rig(SECOND, 0.01), span, quick)
    assert found["leakage"].measured is None


def test_long_run_sequence_tells_a_swing_from_a_drift(span, quick, made_rig):
    class Swinging(made_rig):
        def tick(self, current_ma):
            sample = super().tick(current_ma)
            self.ticks = getattr(self, "ticks", 0) + 1
            swing = 600.0 * (1.0 if self.ticks % 100 < 50 else -1.0)
            drift = 6.0 * self.ticks * self.tick_s
            return sample._replace(pressure_pa=sample.pressure_pa + swing + drift)

    found, _ = figures(LongRunSequence(watch_s=20.0), Swinging(), span, quick)
    # 6 Pa/s over 18 s between the means of the first and the last tenth.
    assert found["drift"].measured == pytest.approx(100 * 6 * 18 / 6e5, rel=0.01)
    assert found["hunting"].measured == pytest.approx(
        100 * (1200 + 120) / 6e5, rel=0.01
    )


def test_restart_sequence_finds_dip_and_return(made_rig, span, quick):
    found, _ = figures(RestartSequence(watch_s=2.0), made_rig(), span, quick)
    # A dip by 10 % of span decays with the lag of 50 ms: ln 10 lags to 1 %.
    assert found["restart_excursion"].measured == pytest.approx(-10.0, abs=0.05)
    assert found["restart_time"].measured == pytest.approx(0.11, abs=0.01)
    # After 0.5 s in the dark, 60 (1 - 1/e) = 38 % are missing: ln 38 lags.
    assert found["power_cut_excursion"].measured == pytest.approx(0.0, abs=0.05)
    assert found["power_cut_time"].measured == pytest.approx(0.17, abs=0.02)


SEQUENCES = {
    "static": StaticSequence(points=5, cycles=1),
    "steps": StepSequence(steps=((20.0, 80.0),), watch_s=1.0),
    "resolution": ResolutionSequence(points_percent=(50.0,), dwell_s=0.2),
    "supply": SupplySequence(),
    "flow": FlowSequence((0.001,)),
    "leakage": LeakageSequence(watch_s=1.0),
    "long run": LongRunSequence(watch_s=1.0),
    "restart": RestartSequence(watch_s=1.0),
}


@pytest.mark.parametrize("name", SEQUENCES)
def test_figures_are_the_same_from_the_stored_rows(
    name, made_rig, span, quick, tmp_path
):
    sequence, path = SEQUENCES[name], tmp_path / "rows.csv"
    rig = made_rig(play=0.004, supply_lean=0.01, flow_lean=3.0, leak_kg_s=1e-5)
    finished = run_sequence(sequence, rig, span, quick)
    finished.rows.write_csv(path)
    again = read_rows(path, sha256(path))
    assert again.table == finished.rows.table
    assert tuple(sequence.evaluate(again, span)) == finished.figures


def test_stored_rows_edited_by_hand_are_refused(made_rig, span, quick, tmp_path):
    path = tmp_path / "rows.csv"
    run_sequence(SEQUENCES["leakage"], made_rig(), span, quick).rows.write_csv(path)
    checksum = sha256(path)
    path.write_text(path.read_text().replace("0.01,", "0.02,", 1))
    with pytest.raises(InputError, match="SHA-256"):
        read_rows(path, checksum)


@pytest.mark.parametrize(
    "text", ["", "a,b\n1,2\n", "{head}\n1,2,3\n", "{head}\nx" + 7 * ","]
)
def test_other_files_are_no_rows(text, tmp_path, made_rig, span, quick):
    path = tmp_path / "rows.csv"
    run_sequence(SEQUENCES["leakage"], made_rig(), span, quick).rows.write_csv(path)
    head = path.read_text().splitlines()[0]
    path.write_text(text.format(head=head))
    with pytest.raises(InputError, match="row"):
        read_rows(path)


@pytest.mark.parametrize("name", ["supply", "flow", "restart"])
def test_a_rig_without_the_ability_is_told_and_judged_not_measured(
    name, linear_rig, span
):
    rig = linear_rig(SECOND, 0.01)
    finished = run_sequence(SEQUENCES[name], rig, span)
    assert finished.rows.table == []
    assert {v.word for v in judge(finished.figures, None)} == {NOT_MEASURED}
    assert all("the rig is no" in figure.text for figure in finished.figures)
