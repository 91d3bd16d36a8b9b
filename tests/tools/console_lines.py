"""Lines for a console: commands, parameters, garbage, and all of it mutated."""

from firmware_model.device.adjust_table import ADJUSTMENTS
from firmware_model.device.console_commands import COMMANDS, COMMON

HEADERS = [row[0] for row in (*COMMANDS, *COMMON)] + [row[0] for row in ADJUSTMENTS]
WORDS = (
    *("ON", "OFF", "MIN", "MAX", "DEF", "MAN", "VENT", "1", "-1", "1e9", "0.5 MS"),
    *("3 PCT", "12 MA", "1,2,3", "''", '"', "1e-20", "999999999999", "PRES", "#11x"),
)


def drawn_line(source):
    """Draw a line: bytes, or commands with parameters, sometimes mutated."""
    if source.random() < 0.2:
        return bytes(source.randrange(256) for _ in range(source.randrange(60)))
    units = []
    for _ in range(source.choice((1, 1, 1, 2, 4))):
        header = source.choice(HEADERS)
        if source.random() < 0.5:
            header = "".join(c for c in header if not c.islower())
        mark = source.choice(("?", "?", "?", "", "", ":"))
        word = source.choice(WORDS) if source.random() < 0.5 else ""
        units.append(f"{header}{mark} {word}".rstrip())
    raw = bytearray(source.choice((";", ";:")).join(units).encode())
    if source.random() < 0.5:
        for _ in range(source.randrange(1, 4)):
            place = source.randrange(len(raw))
            raw[place] = source.choice((raw[place] ^ 32, source.randrange(256)))
    return bytes(raw).replace(b"\n", b" ")
