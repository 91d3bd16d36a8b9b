"""One press bag under PI, its valve without friction: quick to leave alone."""

from scenario_texts import BAG

_CHANGES = (
    (
        'steps = [["0 s", "8 mA"]]',
        'steps = [["0 s", "8 mA"], ["0.2 s", "14 mA"], ["5 s", "11 mA"]]',
    ),
    ('"25 s"', '"10 s"'),
    ('tick = "10 ms"', 'tick = "20 ms"'),
    ('changes = [["12 s", "6.5 bar gauge"], ["20 s", "8 bar gauge"]]\n', ""),
    ('hysteresis = "1 %"\n', ""),
    ('thermal = "wall"\nwall_conductance = "2 W/K"', 'thermal = "isothermal"'),
    ("kp = 6", "kp = 8"),
    ('ki = "0.5 1/s"', 'ki = "8 1/s"'),
)


def lone_bag(path, *changes):
    """Write the scenario, with further replacements; return its path."""
    text = BAG
    for old, new in (*_CHANGES, *changes):
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    path.write_text(text, encoding="utf-8")
    return path
