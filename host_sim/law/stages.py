"""The modules of the board's law, each after those that it calls."""

from firmware_model.law import (
    arith,
    command,
    drive,
    output,
    pid,
    sense,
    supply,
    tick,
)

STAGES = (arith, command, sense, supply, pid, output, drive, tick)
