"""What computer and board say to each other on the link: the numbers of it all.

A request is kind, sequence, content; its answer is the kind with its highest bit set,
the same sequence, a result, content. Numbers have the lowest byte first. What happens
to frames that do not come as they should:

================= ==========================================================
frame             result
================= ==========================================================
late              the computer asks again with the same sequence until its one
                  deadline; an answer that comes after that is repeated, below
lost, the request the computer asks again; done once
lost, the answer  the computer asks again; the board sends its last answer
                  again and does nothing
repeated request  the last answer again; no second tick, no second change
repeated answer   the computer drops it: its sequence is past
corrupt           dropped and counted by either side; as lost
reordered         a request that is neither the last nor the next one is
                  dropped and counted; as lost
unknown or        answered with a result other than 0; nothing is done
malformed
garbage           dropped up to the next end of a frame; changes nothing
================= ==========================================================

`IDENTIFY` carries a number of the computer's own, drawn for each opening. With another
number than the last one it begins anew and its sequence becomes the last one; with the
same number it is a request like any other.
"""

from firmware_model.law.arith import const

FIRMWARE = (0, 1, 0)

IDENTIFY = const(1)
TICK = const(2)
READ = const(3)
WRITE = const(4)
TRY = const(5)
COMMAND = const(6)
CHANGE = const(7)
FETCH = const(8)
SEND = const(9)
TAKE = const(10)
ANSWER = const(128)

OK = const(0)
UNKNOWN = const(1)
MALFORMED = const(2)
OUT_OF_RANGE = const(3)
NOT_A_BLOCK = const(4)
OTHER_LAYOUT = const(5)
OTHER_TICK = const(6)
MEDIUM_FAILED = const(7)

# Whose words are read or written; the trial's are beside the device's own.
OF_STATE = const(0)
OF_PARAMETERS = const(1)
OF_TRIAL_STATE = const(2)
OF_TRIAL_PARAMETERS = const(3)

# Commands; the first three are the wish for a mode.
DEMAND = const(3)
CONFIRM = const(4)
RESTART = const(5)
SAVE = const(6)
RESTORE = const(7)
TAKE_FACTORY = const(8)

IN_STEP = const(1)
SUPERVISED = const(2)
STORES = const(4)
MOST_CONTENT = const(256)

# State words in the answer to a tick, lowest 16 bits: TICKS, TARGET, SETPOINT,
# PRESSURE, ERROR, FEEDFORWARD, OUTPUT, DRIVE, COMPENSATION, FAULTS, ACTIVE, PHASE,
# HELD; whole: PROPORTIONAL, DERIVATIVE, INTEGRAL, REQUEST.
TICK_HALVES = (6, 13, 15, 17, 24, 29, 36, 38, 22, 7, 35, 47, 49)
TICK_WORDS = (25, 28, 30, 33)
