"""The user's catalogue: what is read, which rows are left out and why."""

import pytest

from host_sim.errors import InputError
from host_sim.plant.settings import Air
from host_sim.scenario.load import shipped_scenario_path
from host_sim.scenario.units import Basis
from host_sim.size.catalogue import COLUMNS, MAY_BE_MISSING, read_catalogue

SHIPPED = shipped_scenario_path().with_name("catalogue.csv")
HEADING = "name;fill;exhaust;ports;ranges;supply_limit;seal;temperature;media;price"
GOOD = (
    "Ash;4 dm3/(s.bar) b 0.3;2 dm3/(s.bar) b 0.3;G 1/4 or G 3/8;0 ... 6 bar gauge;"
    "10 bar gauge;NBR;;;300"
)
GAUGE_PA = 101_325.0


@pytest.fixture
def read(tmp_path):
    def from_text(text):
        path = tmp_path / "units.csv"
        path.write_text(text, encoding="utf-8")
        return read_catalogue(path, Air(), Basis())

    return from_text


def changed(column, cell):
    cells = GOOD.replace("Ash", "Oak").split(";")
    cells[HEADING.split(";").index(column)] = cell
    return ";".join(cells)


def test_shipped_catalogue_is_read_whole():
    catalogue = read_catalogue(SHIPPED, Air(), Basis())
    assert not catalogue.unreadable
    assert len(catalogue.units) >= 10
    assert catalogue.currency == "EUR"


def test_shipped_catalogue_documents_every_column():
    comments = [line for line in SHIPPED.read_text().splitlines() if line[0] == "#"]
    for name in COLUMNS:
        assert any(line.startswith(f"#   {name}") for line in comments), name
    assert "invented" in comments[1]


def test_unit_is_read_in_si_units(read):
    unit = read(f"{HEADING}\n{GOOD}\n").units[0]
    assert unit.name == "Ash"
    assert unit.row == 2
    assert unit.fill.likely.conductance_m3_s_pa == pytest.approx(4e-8)
    assert unit.ports == ("G 1/4", "G 3/8")
    assert unit.ranges_pa == ((GAUGE_PA, GAUGE_PA + 6e5),)
    assert unit.supply_limit_pa == GAUGE_PA + 10e5
    assert unit.temperature_k == pytest.approx((253.15, 353.15))
    assert unit.media == ("clean air", "oil mist")
    assert unit.price == 300.0


@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_columns_may_stand_in_any_order_with_any_separator(read, separator):
    pairs = zip(HEADING.split(";"), GOOD.split(";"), strict=True)
    kept = [pair for pair in pairs if pair[0] not in MAY_BE_MISSING][::-1]
    text = "\n".join(separator.join(line) for line in zip(*kept, strict=True))
    assert read(f"# a comment\n\n{text}\n").units[0].price == 300.0


def test_catalogue_limits_come_before_the_seals(read):
    text = changed("temperature", "14 ... 122 degF").replace(";;300", ";ozone;300")
    unit = read(f"{HEADING}\n{text}\n").units[0]
    assert unit.temperature_k == pytest.approx((263.15, 323.15))
    assert unit.media == ("ozone",)


@pytest.mark.parametrize(
    ("column", "cell", "told"),
    [
        ("fill", "4", "= '4': the unit is missing"),
        ("fill", "Cv", "= 'Cv'"),
        ("fill", "90 SCFM (60 degF, 14.696 psia)", "without the pressures"),
        ("exhaust", "4,5 dm3/(s.bar)", "decimal comma"),
        ("exhaust", "-1 dm3/(s.bar)", "not above zero"),
        ("exhaust", "", "empty"),
        ("ranges", "6 bar gauge", "not a range"),
        ("ranges", "6 ... 0 bar gauge", "not above its start"),
        ("ranges", "0 ... 6 bar", "neither gauge nor absolute"),
        ("supply_limit", "10 bar", "neither gauge nor absolute"),
        ("seal", "leather", "= 'leather': unknown seal; write one of NBR"),
        ("temperature", "warm", "not a range"),
        ("media", "sea water", "unknown medium"),
        ("price", "-3", "= '-3': negative price"),
        ("price", "300 EUR", "not a number"),
        ("price", "nan", "not a finite number"),
        ("name", "Ash", "stands above already"),
        ("name", "", "empty"),
    ],
)
def test_bad_row_is_named_and_the_rest_goes_on(read, column, cell, told):
    last = GOOD.replace("Ash", "Yew")
    catalogue = read(f"{HEADING}\n{GOOD}\n{changed(column, cell)}\n{last}\n")
    assert [unit.name for unit in catalogue.units] == ["Ash", "Yew"]
    (line,) = catalogue.unreadable
    assert f"units.csv: row 3, {column}" in line
    assert told in line
    assert "\n" not in line


def test_row_with_too_many_cells_is_left_out(read):
    catalogue = read(f"{HEADING}\n{GOOD};more\n{GOOD}\n")
    assert len(catalogue.units) == 1
    assert "11 cells under 10 columns" in catalogue.unreadable[0]


def test_open_quote_costs_its_own_row_alone(read):
    broken = GOOD.replace("Ash", '"Oak')
    catalogue = read(f"{HEADING}\n{broken}\n{GOOD}\n")
    assert [unit.name for unit in catalogue.units] == ["Ash"]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "no header"),
        ("# only a comment\n", "no header"),
        (HEADING, "no row that can be read"),
        (f"{HEADING}\n{changed('seal', 'leather')}\n", "unknown seal"),
        (f"{HEADING.replace('seal', 'sael')}\n{GOOD}", "= 'sael': unknown column"),
        (f"{HEADING.replace('seal;', '')}\n{GOOD}", "no column 'seal'"),
        (f"{HEADING};price [EUR]\n{GOOD}", "named twice"),
    ],
)
def test_catalogue_without_a_usable_row_is_refused_in_one_line(read, text, told):
    with pytest.raises(InputError) as refused:
        read(text)
    assert told in str(refused.value)
    assert "\n" not in str(refused.value)


def test_missing_catalogue_is_refused(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        read_catalogue(tmp_path / "none.csv", Air(), Basis())
