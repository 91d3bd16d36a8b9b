"""Small plain functions, one or a few constructs of straight code in each."""

import math

from both_ways import MOST

from host_sim.compiling.native import Table


def add_and_divide(x, i, out, wide):
    out[0] = x[0] + x[1]
    out[1] = x[0] - x[1] * x[2]
    out[2] = x[0] / x[1] if x[1] != 0.0 else -x[0]
    out[3] = i[0] / 7
    out[4] = i[0] * 0.25 + 3
    out[5] = 0.0 - x[0]


def divide_down(x, i, out, wide):
    wide[0] = i[0] // 7
    wide[1] = i[0] // -3
    wide[2] = i[0] // (abs(i[1]) + 1)
    wide[3] = i[0] // i[1] if i[1] != 0 else 9
    wide[4] = -7 // 2


def shift_and_mask(x, i, out, wide):
    wide[0] = i[0] >> (i[1] & 15)
    wide[1] = i[0] << (i[1] & 7)
    wide[2] = i[0] & i[1] | 5
    wide[3] = (i[0] >> 31) + (1 << 4)
    wide[4] = -i[0] * i[1] - i[2]


def compare_all(x, i, out, wide):
    wide[0] = (x[0] < x[1]) + 2 * (x[0] <= x[1]) + 4 * (x[0] > x[1])
    wide[1] = (x[0] >= x[1]) + 2 * (x[0] == x[1]) + 4 * (x[0] != x[1])
    wide[2] = (x[0] < x[1] <= x[2]) + 2 * (i[0] < i[1] != i[2] < 5)
    wide[3] = (i[0] == x[0]) + 2 * (i[0] < 2.5)
    wide[4] = 1 if not x[0] else 0


def find_extremes(x, i, out, wide):
    out[0] = min(x[0], x[1])
    out[1] = max(x[0], x[1])
    out[2] = min(max(x[0], 0.0), 1.0)
    out[3] = max(x[0], x[1], x[2])
    out[4] = min(-0.0, x[0])
    wide[0] = max(i[0], i[1], 3)
    wide[1] = min(i[0], True)


def convert_kinds(x, i, out, wide):
    wide[0] = int(x[0]) if -1e6 < x[0] < 1e6 else 4
    wide[1] = math.floor(x[0]) if -1e6 < x[0] < 1e6 else 5
    wide[2] = abs(i[0]) + int(i[1]) + math.floor(i[2])
    out[0] = float(i[0])
    out[1] = abs(x[0])
    out[2] = math.floor(x[0]) * -1.5 if -1e6 < x[0] < 1e6 else 0.5
    out[3] = -(math.floor(x[0]) * 0.5 if abs(x[0]) < 1.0 else 0.5)


def count_truths(x, i, out, wide):
    wide[0] = -(x[0] > 0.0)
    wide[1] = abs(x[0] > 0.0) + (i[0] > 0)
    wide[2] = (x[0] > 0.0) - (x[1] > 0.0)
    wide[3] = x[0] > x[1]
    out[0] = x[0] > x[1]
    out[1] = (x[0] > 0.0) * 0.5
    out[2] = float(i[0] > 0) / 3


def take_roots(x, i, out, wide):
    out[0] = math.sqrt(x[0]) if x[0] >= 0.0 else x[0]
    small = x[0] if -99.0 < x[0] < 99.0 else 2.0
    size = abs(small) if abs(small) > 1e-9 else 0.125
    out[1] = math.sin(small)
    out[2] = math.pow(size, 0.5)
    out[3] = math.pow(size, 2.0)
    out[4] = math.pow(2.0, small)
    out[5] = math.pow(size, -1.0) + math.pow(size, small if abs(small) < 3.0 else 0.25)


def early(x, i, out):
    if i[0] > 0:
        out[0] = 1.0
        if i[1] > 0:
            return 3.0
        out[1] = x[1]
    elif i[1] > 0:
        return x[0]
    else:
        out[2] = -x[2]
    if x[0] > 0.5:
        out[3] = out[0] + x[0]
        return out[3]
    out[4] = 2.0
    return out[4] * x[1]


def return_early(x, i, out, wide):
    out[5] = early(x, i, out)


def leave_early(x, i, out, wide):
    out[0] = 1.0
    if i[0] > 0:
        if i[1] > 0:
            return
        out[1] = 2.0
    out[2] = 3.0
    if i[2] > 0:
        return
    out[3] = x[0]


def write_in_sides(x, i, out, wide):
    last = 1.5
    if x[0] > 0.0:
        out[0] = x[1]
        wide[0] += 1
    else:
        out[1] = -x[1]
        last = x[2]
    if i[0] > i[1]:
        out[0], out[2] = out[2], out[0]
        if i[2] > 0:
            out[3] = last
    out[4] += last


def polynomial(y):
    y = (y * 0.5 + 1.0) * y - 0.25 * y * y
    y = (y * 0.25 - 1.0) * y + 0.125 * y
    return y * 0.5 + (0.5 - y) * 0.0625 + y * y * 0.001


def take_long_sides(x, i, out, wide):
    if x[0] > 0.0:
        out[0] = polynomial(polynomial(x[1]))
        if i[0] > 0:
            out[1] = polynomial(polynomial(x[2])) + x[0]
            wide[0] = wide[1] >> (i[1] if 0 <= i[1] < 8 else 0)
    else:
        out[1] = polynomial(x[2]) / 3.0
        if i[1] > 0:
            out[2] = polynomial(polynomial(polynomial(out[1])))
    out[3] += out[0]


def bump(wide, by):
    wide[0] += 1
    wide[1] = wide[0] + by
    return wide[1]


def settle_early(x, i, out, wide):
    if i[0] > 0 and bump(wide, 1) > 2 and bump(wide, i[1]) > 0:
        out[0] = 1.0
    if i[1] > 0 or not (bump(wide, 3) > 5) or i[2] > bump(wide, 1):
        out[1] = 2.0
    wide[3] = i[0] < bump(wide, 1) < bump(wide, 2)
    wide[4] = i[0] > 0 or i[1] > 0
    out[2] = float(bump(wide, 2)) if x[0] > 0.0 else out[1]


def look_up_guarded(x, i, out, wide):
    out[0] = x[i[0]] if 0 <= i[0] < len(x) else -1.0
    if i[1] >= 0 and i[1] < 6 and x[i[1]] > 0.0:
        out[1] = x[i[1]]
    out[2] = x[i[2] & 3]
    out[3] = x[-1]


def count_up(x, i, out, wide):
    total = 0.0
    for k in range(3):
        for j in range(k + 1):
            total += x[j] * (k + 1)
            out[k] += total
    out[4] = total + k
    pass


def swap_and_change(x, i, out, wide):
    a, b = x[0], x[1]
    a, b = b, a
    out[0] = a - b
    b -= 1
    b *= a
    out[1] = b
    wide[0] |= 4
    wide[1] <<= 2
    out[2] += x[0] + early(x, i, out)


def choose_zero(x, i, out, wide):
    out[0] = 0.0 if x[0] > 0.0 else -0.0
    zero = 0.0
    if i[0] > 0:
        zero = -0.0
    out[1] = zero
    if i[1] > 0:
        out[2] = 0.0
    else:
        out[2] = -0.0
    wide[0] = 1 if i[2] > 0 else True


# Where a C library's power is not the square root, the square, the power of two or the
# reciprocal that a compiler would put in its place (GNU libc on x86-64).
TURNS = [33.36937566516585, 92.38771244022732, 46.80224944563078, 26.006742831416176]

CASES = (
    add_and_divide,
    divide_down,
    shift_and_mask,
    compare_all,
    find_extremes,
    convert_kinds,
    count_truths,
    take_roots,
    return_early,
    leave_early,
    write_in_sides,
    take_long_sides,
    settle_early,
    look_up_guarded,
    count_up,
    swap_and_change,
    choose_zero,
)
SIGNATURE = {
    "x": Table("float", length=6),
    "i": Table("int", length=4),
    "out": Table("float", length=6),
    "wide": Table("int", length=6),
}


def deal(drawn, length):
    """Deal a few numbers out to one list a lane, so that lanes and elements differ."""
    return [
        [drawn[(3 * lane + 5 * k + lane * k) % len(drawn)] for k in range(length)]
        for lane in range(MOST)
    ]


def arguments(x, i):
    """Arguments of any case; ``out`` and ``wide`` begin with numbers of their own."""
    out = [[0.25, -0.0, 1.0, 2.0, -3.0, 0.0]] * MOST
    wide = [[lane, 7, -7, 0, 1, 2] for lane in range(MOST)]
    return {"x": deal(x, 6), "i": deal(i, 4), "out": out, "wide": wide}
