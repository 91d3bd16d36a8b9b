"""Plain functions to machine code, for one loop or for many side by side.

Read `straight` first, which walks statements, then `expressions` and `branches`; below
them `memory`, `arithmetic` and `machine` write instructions, above them `emit`,
`native` and `cache` make machine code of these and keep it. `instructions` counts
what came out. `wrapped` is another compiler's way to the same numbers, for the proof.
"""
