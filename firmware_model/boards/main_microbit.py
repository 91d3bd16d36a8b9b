"""Main of a pilot on a micro:bit-class board: 16 KB of memory, no timer callbacks.

The law's files do not fit there. ``integer-pilot build DIR`` writes the law in
pieces, constants folded, and this file beside them; copy all to the board. The
first piece holds the parameters: a fresh block, a plain proportional controller,
until you replace its numbers by those of your loop.

Not run on hardware here; run on the emulated board, with numbers for its pins.

Cautions: fit a relief valve; isolate and vent before you touch the machine; a
board and its software are not a safety function; not for hazardous areas; local
codes come first.
"""

# The firmware starts with a name for each pin and picture; the law needs the room.
globals().clear()
import gc  # noqa: E402

from micropython import opt_level  # noqa: E402

# No line numbers in what is compiled from here on.
opt_level(3)

pieces = 1
piece = 0
while piece < pieces:
    text = ""
    gc.collect()
    with open("law_%02d" % piece) as file:  # noqa: UP031
        text = file.read()
    gc.collect()
    exec(text)
    piece += 1
text = ""
gc.collect()

from microbit import pin0, pin1, pin2, pin8, pin16, running_time  # noqa: E402

TICK_MS = 50

state = globals()["a"]
params = globals()["b"]
stages = globals()["stages"]
finish = globals()["finish"]
late = 0
due_ms = running_time()
# In no function: the law's calls need all of the board's stack. Numbers without
# underscores: this firmware's parser knows none.
while True:
    while running_time() < due_ms:
        pass
    if 2 * (running_time() - due_ms) > TICK_MS:
        late += 1
        due_ms = running_time()
    due_ms += TICK_MS
    state[0] = pin0.read_analog() << 5
    state[1] = pin1.read_analog() << 5
    state[2] = pin2.read_analog() << 5
    for stage in stages:
        stage(state, params)
    finish(state)
    duty = abs(state[38]) * 1023 // 25000
    pin8.write_analog(duty if state[38] > 0 else 0)
    pin16.write_analog(duty if state[38] < 0 else 0)
