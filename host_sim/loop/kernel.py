"""Many ticks of the closed loop in one plain function, made to be compiled.

It joins the board's own `tick` and the plant's own kernels exactly as
`loop.Loop.step` does; nothing of law or physics stands here.
"""

from firmware_model.law.tick import tick
from host_sim.law.counts import whole
from host_sim.plant.channel import convert, delayed
from host_sim.plant.integrate import advance_tick
from host_sim.plant.layout import SOURCE

FULL = 25_000.0
DRIVE_WORD = 38

# Rows of the two channels: pressure, supply.
LOW, HIGH, BITS, DRIFT, DELAY_STEPS = range(5)


def measured(arriving, channel, time_s, noise):
    """Convert what arrives at a converter, with drift and noise."""
    return convert(
        arriving + channel[DRIFT] * time_s + noise,
        channel[LOW],
        channel[HIGH],
        int(channel[BITS]),
    )


def run_ticks(
    tick_s,
    words,
    law_params,
    current_counts,
    channels,
    noise,
    scripts,
    drives,
    word_slots,
    word_record,
    view_slots,
    view_record,
    air_record,
    body,
):
    """Run the loop for as many ticks as there are current counts.

    Parameters
    ----------
    tick_s : float
        Length of a tick [s].
    words, law_params : int32 arrays
        State and parameters of the law.
    current_counts : int32 array, shape (n,)
        Command of each tick [counts].
    channels : float array, shape (2, 5)
        Pressure and supply: low, high, bits, drift, delay in substeps.
    noise : float array, shape (n, 2)
        Drawn noise of both channels [Pa].
    scripts : float array, shape (n + 1, 2)
        Source pressure and consumption of each tick [Pa], [kg/s].
    drives : float array, shape (n + delay,)
        Drives decided; the first ``delay`` of them are zero [-].
    word_slots, view_slots : int arrays
        What to record of the law's words and of the plant's view.
    word_record, view_record, air_record : arrays
        Filled with one row a tick.
    body : tuple
        `Body.arguments`, as arrays.
    """
    state, _, _, view, _, _, _, line, supply_line, heads, _, _ = body
    delay = len(drives) - len(current_counts)
    for k in range(len(current_counts)):
        time_s = k * tick_s
        words[0] = current_counts[k]
        arriving = delayed(line, heads[0], channels[0, DELAY_STEPS])
        words[1] = whole(measured(arriving, channels[0], time_s, noise[k, 0]))
        arriving = delayed(supply_line, heads[1], channels[1, DELAY_STEPS])
        words[2] = whole(measured(arriving, channels[1], time_s, noise[k, 1]))
        tick(words, law_params)
        drives[k + delay] = words[DRIVE_WORD] / FULL
        for j in range(len(word_slots)):
            word_record[k, j] = words[word_slots[j]]
        for j in range(len(view_slots)):
            view_record[k, j] = view[view_slots[j]]
        air_record[k] = -state[SOURCE]
        advance_tick(
            time_s,
            drives[k],
            scripts[k + 1, 0],
            scripts[k + 1, 1],
            *body,
        )
