"""A supply that fails in a chosen step of what a medium does.

The step in which it fails is done in part, or to its end. Runs on MicroPython, too.
"""

PART, WHOLE = 0, 1
WAYS = (PART, WHOLE)


class PowerLostError(Exception):
    """The supply is gone; nothing that runs on it goes on."""


class Supply:
    """What every medium here has: a count of its steps, and a fuse."""

    def __init__(self):
        self.steps = 0
        self.fuse = None
        self.dead = False

    def arm(self, step, way):
        """Let power fail in this step from now, in part or at its end."""
        self.steps, self.fuse = 0, (step, way)

    def revive(self):
        """Give it power again."""
        self.fuse, self.dead = None, False

    def check(self):
        """Refuse to go on without power."""
        if self.dead:
            raise PowerLostError

    def fails_now(self):
        """Tell whether power fails in the midst of this step."""
        return self.fuse == (self.steps, PART)

    def end_step(self):
        """Count a step that was done; power may fail at its end."""
        self.steps += 1
        if self.fuse == (self.steps - 1, WHOLE):
            self.fail()

    def fail(self):
        """Lose power."""
        self.dead = True
        raise PowerLostError
