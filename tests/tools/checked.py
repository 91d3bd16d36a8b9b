"""An integer that refuses to leave 31 bits, and the law run on it."""

from contextlib import contextmanager

from host_sim.law.stages import STAGES

LIMIT = 2**30 - 1


class TooWideError(ArithmeticError):
    """An intermediate left the small-integer range of a 32-bit board."""


class Checked(int):
    """Every result of an operation is checked, not only the last one."""


def _checked(name):
    plain = getattr(int, name)

    def operation(self, *others):
        if "shift" in name and name[2] != "r" and not 0 <= others[0] <= 29:
            raise TooWideError(f"shift count {others[0]}")
        if name == "__floordiv__" and others[0] <= 0:
            raise TooWideError(f"divisor {others[0]}")
        result = plain(self, *others)
        if abs(result) > LIMIT:
            raise TooWideError(f"{name}{(int(self), *others)} = {result}")
        return Checked(result)

    return operation


for _name in ("add", "sub", "mul", "floordiv", "lshift", "rshift", "and", "or"):
    setattr(Checked, f"__{_name}__", _checked(f"__{_name}__"))
    setattr(Checked, f"__r{_name}__", _checked(f"__r{_name}__"))
Checked.__neg__ = _checked("__neg__")


@contextmanager
def checked_modules(modules):
    """Let the ``int()`` of modules keep checked integers as they are."""
    for module in modules:
        module.int = lambda number: number
    try:
        yield
    finally:
        for module in modules:
            del module.int


def checked_law():
    """Let the law's ``int()`` keep checked integers as they are."""
    return checked_modules(STAGES)
