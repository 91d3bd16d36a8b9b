"""Loading a scenario from text, with replacements."""

import pytest

from host_sim.scenario.load import load_scenario


@pytest.fixture
def load(tmp_path):
    """Return a loader of texts; each replacement must fit exactly once."""

    def from_text(text, *changes):
        for old, new in changes:
            assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times"
            text = text.replace(old, new)
        path = tmp_path / "press.toml"
        path.write_text(text, encoding="utf-8")
        return load_scenario(path)

    return from_text
