"""The assumptions file: what it becomes, and what is refused."""

import pytest

from host_sim.errors import InputError
from host_sim.scenario.load import shipped_scenario_path
from host_sim.size.savings_assumptions import load_assumptions

SHIPPED = shipped_scenario_path("savings.toml")


@pytest.fixture
def load(tmp_path):
    """Load the shipped file with replacements."""

    def changed(*replacements):
        text = SHIPPED.read_text(encoding="utf-8")
        for old, new in replacements:
            assert text.count(old) == 1, old
            text = text.replace(old, new)
        path = tmp_path / "assumed.toml"
        path.write_text(text, encoding="utf-8")
        return load_assumptions(path)

    return changed


def test_assumptions_shipped_file_is_invented_and_in_si():
    assumed = load_assumptions(SHIPPED)
    assert "invented" in assumed.title
    assert assumed.stated["machine_hour_cost"].range.expected == pytest.approx(
        40 / 3600
    )
    energy = assumed.stated["air.specific_energy"].range.expected
    assert energy == pytest.approx(0.12 * 3.6e6 / 1.185)
    assert assumed.stated["material.flow"].range.low == pytest.approx(2e-4)
    assert assumed.stated["material.price"].written == ("3 credits/kg",)
    assert assumed.tolerance_pa == 15_000.0
    assert assumed.recorded_range_pa == (101_325.0, 701_325.0)


def test_assumptions_material_may_be_measured_by_volume(load):
    assumed = load(
        ('flow = ["0.2 g/s", "0.5 g/s", "1 g/s"]', 'flow = "5 mL/s"'),
        ('"3 credits/kg"', '"3 credits/L"'),
    )
    assert assumed.stated["material.flow"].range.high == pytest.approx(5e-6)
    assert assumed.stated["material.price"].range.high == pytest.approx(3000.0)


def test_assumptions_time_that_counts_is_the_tolerance_unless_said(load):
    assert load(('time = "tolerance"\n', "")).step_time == "tolerance"
    assert load(('time = "tolerance"', 'time = "t50"')).step_time == "t50"


PRICE = 'price = "3 credits/kg"'
REFUSALS = {
    "negative price": ((PRICE, 'price = "-3 credits/kg"'), "material.price.*negative"),
    "falling range": (("100_000, 120_000", "130_000, 120_000"), "do not rise"),
    "other currency": ((PRICE, 'price = "3 thalers/kg"'), "not the file's currency"),
    "two-word currency": (('"credits"', '"US dollars"'), "not one word"),
    "misspelt key": (("investment", "investement"), "did you mean 'investment'"),
    "misspelt table": (("[material]", "[materail]"), "did you mean 'material'"),
    "key of another table": (("[air]", "[air]\nflow = 1"), "air.flow: unknown key"),
    "missing key": (('currency = "credits"', ""), "currency: missing"),
    "no such time": (('"tolerance"\nt', '"soon"\nt'), "response.time.*no time"),
    "tolerance of zero": (('"0.15 bar"', '"0 bar"'), "not more than zero"),
    "tolerance without unit": (('"0.15 bar"', "0.15"), "should be a text"),
    "uncertainty too large": (('"3 %"', '"150 %"'), "0 ... 100 %"),
    "both air prices": (("[air]", '[air]\nprice = "1 credits/kg"'), "in one way"),
    "half a material": ((PRICE, ""), "material.price: missing"),
    "half a record": (('at_20_ma = "6 bar gauge"', ""), "recorded.at_20_ma: missing"),
    "flat record": (('"6 bar gauge"', '"0 bar gauge"'), "the same as at 4 mA"),
    "mass and volume": ((PRICE, 'price = "3 credits/L"'), "wrong dimension"),
    "flow is no flow": (('"0.2 g/s"', '"0.2 g"'), "material.flow.*wrong dimension"),
    "table instead of key": (("cycles_per_year =", "cycles_per_year.a ="), "cycles"),
    "not TOML": (("[air]", "[air"), "not TOML"),
}


@pytest.mark.parametrize("name", REFUSALS)
def test_assumptions_refused_in_one_line(name, load):
    replacement, words = REFUSALS[name]
    with pytest.raises(InputError, match=words) as caught:
        load(replacement)
    assert "\n" not in str(caught.value)
    assert "assumed.toml" in str(caught.value)


@pytest.mark.parametrize(
    ("more", "words"),
    [("", "nothing has a price"), ("air = 3\n", "air = 3: should be a table")],
)
def test_assumptions_with_no_or_a_misplaced_price_are_refused(more, words, tmp_path):
    path = tmp_path / "assumed.toml"
    path.write_text(
        f'{more}title = "t"\ncurrency = "c"\ncycles_per_year = 1\n'
        '[response]\ntolerance = "1 mbar"\nuncertainty = "0 %"\n'
    )
    with pytest.raises(InputError, match=words):
        load_assumptions(path)


@pytest.mark.parametrize("text", ["", " \n"])
def test_assumptions_empty_file_is_refused(text, tmp_path):
    path = tmp_path / "assumed.toml"
    path.write_text(text)
    with pytest.raises(InputError, match="empty file"):
        load_assumptions(path)
