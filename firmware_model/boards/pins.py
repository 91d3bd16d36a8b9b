"""What is wired where, on every board family, in one place.

Each board: converter pins of the command current (4-20 mA over a resistor), the
pressure sensor and the supply sensor; then the pins of the filling and of the
venting valve's drivers, of the lamp that blinks a fault's number, and
of the keys LESS, MORE and SET, which connect their pins to ground.

An example to change, not a wiring plan: whether a pin has a converter, and which
voltage it bears, the board's own data sheet says.
"""

TICK_MS = 10
VALVE_HZ = 200

RP2040 = (26, 27, 28, 14, 15, 25, 16, 17, 18)
STM32 = ("A0", "A1", "A2", "B8", "B9", "B0", "B3", "B4", "B5")
ESP32 = (32, 33, 34, 25, 26, 2, 18, 19, 21)
