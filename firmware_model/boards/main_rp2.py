"""Main of a pilot on RP2040: copy to the board as main.py.

The timer's interrupt runs the law. Not run on
hardware here; the cautions stand in `pilot`.
"""

from machine import Timer

from firmware_model.boards.pilot import Pilot
from firmware_model.boards.pins import RP2040

pilot = Pilot(RP2040)
pilot.start(Timer(-1), hard=True)
pilot.serve()
