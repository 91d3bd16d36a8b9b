"""The keys of a scenario file that only a board reads: supervisor and relay test."""

from host_sim.scenario.schema import Choices, Key, Table

WHILE = "0 ... 1000 s"
MODES = ("automatic", "manual", "hold")

DEVICE = (
    Table(
        "supervisor",
        "What watches the loop on a board, beside the law's own faults.",
        (
            Key("start", "time", "0.5 s", "good readings before it acts", WHILE),
            Key("start_mode", Choices(MODES), "automatic", "mode after start-up"),
            Key("clear", "time", "1 s", "good readings until a fault ends", WHILE),
            Key("above_range", "time", "1 s", "at 110 % until a fault", WHILE),
            Key("stuck", "time", "10 s", "apart, no movement: a fault", WHILE),
            Key("stuck_counts", "whole", 0, "movement that is none", "0 ... 32767"),
            Key("apart", "ratio", "5 %", "set point from pressure", "0 ... 100 %"),
            Key("apart_time", "time", "30 s", "apart until a fault", WHILE),
            Key("late_ticks", "whole", 3, "late ticks until a fault", "1 ... 1000"),
            Key("late_weight", "whole", 100, "ticks that outweigh one", "1 ... 1000"),
            Key("blink", "time", "0.25 s", "one blink of the lamp", "0.001 ... 1 s"),
        ),
    ),
    Table(
        "relay",
        "Self-tuning on a board: the relay test.",
        (
            Key("size", "ratio", "20 %", "output to either side", "1 ... 100 %"),
            Key("band", "ratio", "0.5 %", "error that switches it", "0 ... 20 %"),
            Key("travel", "ratio", "20 %", "error at which it ends", "1 ... 100 %"),
            Key("patience", "time", "120 s", "time after which it ends", WHILE),
            Key("cycles", "whole", 4, "equal cycles averaged", "2 ... 20"),
            Key("safety", "ratio", "100 %", "share of the rule's gain", "11 ... 100 %"),
        ),
    ),
)
