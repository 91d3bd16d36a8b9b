"""Many ticks of the closed loop in plain functions, made to be compiled.

They join the board's own `tick` and the plant's own kernels exactly as
`loop.Loop.step` does; nothing of law or physics stands here. ``body`` is
`Body.arguments`, as arrays.
"""

from dataclasses import fields

from firmware_model.law.tick import tick
from host_sim.law.counts import whole
from host_sim.loop.watch import watch_output, watch_pressure
from host_sim.plant.body import Body
from host_sim.plant.channel import convert, delayed
from host_sim.plant.integrate import advance_tick
from host_sim.plant.layout import LOAD, SOURCE

FULL = 25_000.0
DRIVE_WORD = 38

PARTS = [part.name for part in fields(Body)]
STATE, VIEW = PARTS.index("state"), PARTS.index("view")
LINE, SUPPLY_LINE = PARTS.index("line"), PARTS.index("supply_line")
HEADS = PARTS.index("heads")

# A channel: current, pressure, supply, each with five numbers.
CURRENT, PRESSURE, SUPPLY = range(3)
LOW, HIGH, BITS, DRIFT, NOISE, DELAY_STEPS = range(6)
CHANNEL_ROW = 6


def measured(arriving, channels, channel, time_s, noise):
    """Convert what arrives at a converter, with drift and noise, to counts."""
    arriving += channels[channel, DRIFT] * time_s
    if channels[channel, NOISE] > 0.0:
        arriving += channels[channel, NOISE] * noise
    return whole(
        convert(
            arriving,
            channels[channel, LOW],
            channels[channel, HIGH],
            int(channels[channel, BITS]),
        )
    )


def decide(
    k, tick_s, delay_ticks, words, block, commands, channels, noise, pending, body
):
    """Read the sensors and let the law decide; return the drive to apply.

    Parameters
    ----------
    k : int
        Number of the tick.
    tick_s : float
        Length of a tick [s].
    delay_ticks : int
        0 or 1: ticks from a decision to its effect.
    words, block : int arrays
        State and parameters of the law.
    commands : float array, shape (ticks,)
        What arrives at the converter of the command [mA].
    channels : float array, shape (3, 6)
        Current, pressure, supply: low, high, bits, drift, noise, delay.
    noise : float array, shape (ticks, 3)
        Drawn standard normal numbers; read only where there is noise.
    pending : float array, shape (1,)
        The drive decided a tick ago [-].
    """
    heads = body[HEADS]
    time_s = k * tick_s
    words[CURRENT] = measured(commands[k], channels, CURRENT, time_s, noise[k, CURRENT])
    arriving = delayed(body[LINE], heads[0], channels[PRESSURE, DELAY_STEPS])
    words[PRESSURE] = measured(arriving, channels, PRESSURE, time_s, noise[k, PRESSURE])
    arriving = delayed(body[SUPPLY_LINE], heads[1], channels[SUPPLY, DELAY_STEPS])
    words[SUPPLY] = measured(arriving, channels, SUPPLY, time_s, noise[k, SUPPLY])
    tick(words, block)
    drive = words[DRIVE_WORD] / FULL
    if delay_ticks > 0:
        decided = drive
        drive = pending[0]
        pending[0] = decided
    return drive


def run_recorded(
    first,
    ticks,
    tick_s,
    delay_ticks,
    words,
    block,
    commands,
    channels,
    noise,
    scripts,
    pending,
    word_slots,
    word_record,
    view_slots,
    view_record,
    flow_record,
    body,
):
    """Run the loop from one tick on and record every tick.

    Parameters
    ----------
    first, ticks : int
        First tick, and how many.
    scripts : float array, shape (ticks + 1, 2)
        Source pressure and consumption from each tick on [Pa], [kg/s].
    word_slots, view_slots : int arrays
        What to record of the law's words and of the plant's view.
    word_record, view_record : arrays, shape (ticks, slots)
        Filled with one row a tick.
    flow_record : float array, shape (ticks, 2)
        Drive [-] and air drawn since the start [kg].
    tick_s, delay_ticks, words, block, commands, channels, noise, pending, body
        As `decide`.
    """
    view, state = body[VIEW], body[STATE]
    for n in range(ticks):
        k = first + n
        drive = decide(
            k,
            tick_s,
            delay_ticks,
            words,
            block,
            commands,
            channels,
            noise,
            pending,
            body,
        )
        for j in range(len(word_slots)):
            word_record[k, j] = words[word_slots[j]]
        for j in range(len(view_slots)):
            view_record[k, j] = view[view_slots[j]]
        flow_record[k, 0] = drive
        flow_record[k, 1] = -state[SOURCE]
        advance_tick(k * tick_s, drive, scripts[k + 1, 0], scripts[k + 1, 1], *body)


def run_watched(
    first,
    ticks,
    tick_s,
    delay_ticks,
    words,
    block,
    commands,
    channels,
    noise,
    scripts,
    pending,
    levels,
    marks,
    body,
):
    """Run the loop from one tick on and keep what its response was worth.

    Parameters
    ----------
    first, ticks : int
        First tick, and how many.
    levels, marks : float arrays
        See `watch`; the pressure right after the last tick counts too.
    tick_s, delay_ticks, words, block, commands, channels, noise, pending, \
    scripts, body
        As `run_recorded`.
    """
    view, state = body[VIEW], body[STATE]
    for n in range(ticks):
        k = first + n
        drive = decide(
            k,
            tick_s,
            delay_ticks,
            words,
            block,
            commands,
            channels,
            noise,
            pending,
            body,
        )
        watch_pressure(n, view, levels, marks)
        watch_output(n, drive, state, marks)
        advance_tick(k * tick_s, drive, scripts[k + 1, 0], scripts[k + 1, 1], *body)
    watch_pressure(ticks, view, levels, marks)


def run_driven(ticks, tick_s, drives, scripts, record, body):
    """Run the plant alone under given drives.

    Parameters
    ----------
    ticks : int
        How many.
    tick_s : float
        Length of a tick [s].
    drives : float array, shape (ticks,)
        Held in each tick [-].
    scripts : float array, shape (ticks + 1, 2)
        As `run_recorded`.
    record : float array, shape (ticks,)
        Filled with the load pressure at the end of each tick [Pa].
    """
    view = body[VIEW]
    for k in range(ticks):
        advance_tick(k * tick_s, drives[k], scripts[k + 1, 0], scripts[k + 1, 1], *body)
        record[k] = view[LOAD]
