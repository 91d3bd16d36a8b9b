"""The C header: the layout's slots, ranges and fresh values."""

from collections.abc import Iterable

from firmware_model.law import layout
from host_sim.prove.c99_expressions import PREFIX
from host_sim.prove.vector_layout import layout_fingerprint

_TOP = """\
/*
 * The control law: words of its two arrays, and its two functions.
 *
 * Clear the state and call law_reset once, then law_tick exactly once a sampling
 * time: write CURRENT_COUNTS, PRESSURE_COUNTS, SUPPLY_COUNTS and MODE (in manual
 * also DEMAND) into the state before it, read DRIVE after it. The arrays must
 * not overlap. While every parameter, every input and the first state lie in the
 * ranges below, no operation overflows, no divisor is zero and no index leaves
 * its array.
 *
 * Generated from the law's source; regenerate instead of editing.
 */
#ifndef LAW_H
#define LAW_H

#include <stdint.h>

/* Fingerprint of all names and ranges: golden vectors carry the same one. */
#define LAW_LAYOUT UINT32_C(0x{fingerprint})
"""
_BOTTOM = """
/* Forget everything but the inputs and the output. */
void law_reset(int32_t *state);

/* Run the law once: inputs in the state, drive out of the state. */
void law_tick(int32_t *state, const int32_t *params);

#endif
"""
_WIDTH = 76


def write_header() -> str:
    """Write law.h from the layout's tables.

    Returns
    -------
    str
    """
    params = layout.PARAMETERS
    return "".join(
        [
            _TOP.format(fingerprint=layout_fingerprint()),
            _slots("State", "STATE_WORDS", layout.STATE),
            _slots(
                "Parameters",
                "PARAMETER_WORDS",
                [(name, span, meaning) for name, span, _, meaning in params],
            ),
            _values(
                "A fresh block, to start a parameter array from.",
                "FRESH_PARAMETERS",
                [fresh for _, _, fresh, _ in params],
            ),
            _values(
                "The lowest legal word of each parameter.",
                "LOWEST_PARAMETERS",
                [span[0] for _, span, _, _ in params],
            ),
            _values(
                "The highest legal word of each parameter.",
                "HIGHEST_PARAMETERS",
                [span[1] for _, span, _, _ in params],
            ),
            _BOTTOM,
        ]
    )


def _slots(
    title: str, count: str, rows: Iterable[tuple[str, tuple[int, int], str]]
) -> str:
    lines = [f"\n/* {title}: slot, range, meaning. */", "enum {"]
    slot = 0
    for slot, (name, (low, high), meaning) in enumerate(rows):
        lines.append(f"    /* {low} ... {high}: {meaning} */")
        lines.append(f"    {PREFIX}_{name} = {slot},")
    lines += [f"    {PREFIX}_{count} = {slot + 1}", "};", ""]
    return "\n".join(lines)


def _values(title: str, name: str, words: list[int]) -> str:
    lines, line = [], "   "
    for word in words:
        if len(line) + len(f" {word},") > _WIDTH:
            lines.append(line)
            line = "   "
        line += f" {word},"
    lines.append(line.rstrip(","))
    body = "".join(f"{text:<{_WIDTH}} \\\n" for text in lines)
    return f"\n/* {title} */\n#define {PREFIX}_{name} {{ \\\n{body}}}\n"
