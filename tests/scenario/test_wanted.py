"""What sizing aims at, read from a scenario file."""

import pytest
from scenario_texts import BAG

from host_sim.errors import InputError

WANTED = '\n[wanted]\nfill_time = "0.8 s"\nvent_time = "1.5 s"\n'


def test_file_without_wanted_wants_nothing(load):
    assert load(BAG).wanted is None


def test_wanted_defaults_to_the_range_and_the_room(load):
    wanted = load(BAG + WANTED).wanted
    assert (wanted.fill_time_s, wanted.vent_time_s) == (0.8, 1.5)
    assert wanted.start_pa == pytest.approx(101_325.0)
    assert wanted.end_pa == pytest.approx(701_325.0)
    assert wanted.within == 0.02
    assert wanted.temperature_low_k == wanted.temperature_high_k == 293.15
    assert (wanted.medium, wanted.port) == ("clean air", "")


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ('end = "0 bar gauge"', "wanted.end = '0 bar gauge': no change from"),
        ('end = "7 bar gauge"', "wanted.end = '7 bar gauge': above range.high"),
        ('start = "-0.2 bar gauge"', "= '-0.2 bar gauge': below range.low; raise"),
        ('temperature_low = "30 degC"', "temperature_high: below wanted.temperature_l"),
        ('within = "30 %"', "outside the allowed range 0 ... 20 %"),
        ('medium = "sea water"', "not one of the words"),
        ('flow_drop = "1 bar gauge"', "neither gauge nor absolute"),
        ('speed = "1 s"', "unknown key"),
    ],
)
def test_contradicting_wants_are_refused(load, line, told):
    with pytest.raises(InputError) as refused:
        load(BAG + WANTED + line + "\n")
    assert told in str(refused.value)


@pytest.mark.parametrize(
    ("key", "cell", "field"),
    [
        ("start", '"1 bar gauge"', "start_pa"),
        ("end", '"5 bar gauge"', "end_pa"),
        ("within", '"5 %"', "within"),
        ("flow_drop", '"2 bar"', "flow_drop_pa"),
        ("temperature_low", '"0 degC"', "temperature_low_k"),
        ("temperature_high", '"50 degC"', "temperature_high_k"),
        ("medium", '"ozone"', "medium"),
        ("port", '"G 1/4"', "port"),
    ],
)
def test_each_key_moves_one_field(load, key, cell, field):
    plain, moved = (
        load(BAG + WANTED + line).wanted for line in ("", f"{key} = {cell}")
    )
    fields = {name for name in vars(plain) if vars(plain)[name] != vars(moved)[name]}
    assert fields == {field}


def test_wanted_needs_both_times(load):
    with pytest.raises(InputError, match=r"wanted\.vent_time: missing"):
        load(BAG + WANTED.replace('vent_time = "1.5 s"\n', ""))
