"""Main of a pilot on ESP32: copy to the board as main.py.

This port calls back from its scheduler, not from the interrupt (from memory). Not run
on hardware here; the cautions stand in `pilot`.
"""

from machine import Timer

from firmware_model.boards.pilot import Pilot
from firmware_model.boards.pins import ESP32

pilot = Pilot(ESP32)
pilot.start(Timer(0), hard=False)
pilot.serve()
