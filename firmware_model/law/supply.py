"""Supply compensation: what the valve passes now against the reference."""

from firmware_model.law.arith import amplify, clamp, const, interpolate, scale

_FAULTS = const(7)
_PRESSURE = const(17)
_SUPPLY = const(20)
_COMPENSATION = const(22)
_ABSOLUTE_GAIN = const(32)
_ABSOLUTE_OFFSET = const(34)
_STRENGTH = const(35)
_FLOW_0 = const(36)
_SUPPLY_FAULT = const(4)
_SUPPLY_FLOOR = const(4096)
_COUNTS_HIGH = const(32_767)


def compensate(state, params):
    """Find the factor that restores the reference flow of the filling valve.

    ``COMPENSATION = 1 + STRENGTH (restoring factor - 1)``. Without a good
    supply reading, or switched off, the factor is one.

    Scaling and overflow
    --------------------
    A q12 factor of at most 12 288 above one times 4 096; to nearest.
    """
    factor = 4_096
    strength = int(params[_STRENGTH])
    if strength and not int(state[_FAULTS]) & _SUPPLY_FAULT:
        factor = int(restoring_factor(state, params)) - 4_096
        factor = 4_096 + int(scale(factor, strength, 12))
    state[_COMPENSATION] = factor


def restoring_factor(state, params) -> int:
    """Compare reference flow with present flow at this pressure, 1/2 ... 4.

    ``factor = G(pressure, reference) / G(pressure, supply)``, in q12; one where
    the supply cannot fill at all.

    Scaling and overflow
    --------------------
    Absolute pressures in q14 of the reference supply, limited to 32 767.
    ``G << 12`` is at most 2**26. The quotient floors; the divisor is at least 1.
    """
    absolute = int(state[_PRESSURE])
    absolute = int(amplify(params, _ABSOLUTE_GAIN, absolute))
    absolute = int(clamp(absolute + int(params[_ABSOLUTE_OFFSET]), 0, _COUNTS_HIGH))
    present = int(clamp(int(state[_SUPPLY]), _SUPPLY_FLOOR, _COUNTS_HIGH))
    present = int(capacity(params, absolute, present))
    if present < 1:
        return 4_096
    reference = int(capacity(params, absolute, 16_384))
    return int(clamp((reference << 12) // present, 2_048, 16_384))


def capacity(params, absolute: int, supply: int) -> int:
    """Flow of the filling valve, relative to choked flow at the reference.

    ``G = supply * flow_function(absolute / supply)``.

    Source: ISO 6358-1, second-hand; the flow function is a table of 17 points.

    Scaling and overflow
    --------------------
    ``absolute << 14`` is below 2**29; ``supply`` is at least a quarter of the
    reference, so the divisor is positive. ``supply * flow`` is below 2**29;
    both quotients floor.
    """
    ratio = int(clamp((absolute << 14) // supply, 0, 16_384))
    return (supply * int(interpolate(params, _FLOW_0, ratio, 10))) >> 14
