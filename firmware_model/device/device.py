"""One pilot between two ticks: its words, its store, and what may be asked of it.

Console, keys, link and self-tuning go through this class, so that each rule (a
legal block, no half-changed gains, no bump) stands once. A timer's interrupt may
run the tick at any place in here.
"""

from array import array

from firmware_model.device.layout import DEVICE_PARAMETERS, DEVICE_STATE
from firmware_model.device.supervisor import run, start, take_parameters
from firmware_model.law.arith import const

_DEMAND = const(4)
_WISH = const(43)
_CHANGING = const(44)
_CONFIRM = const(45)
_BLOCK_BAD = const(46)
_BEING_CHANGED = const(1)
_CHANGED = const(2)

AUTOMATIC = 0
MANUAL = 1
HOLD = 2


class Device:
    """The law, its supervisor and its parameters.

    Parameters
    ----------
    store : Store
        Where parameters are kept; its block, or the factory's words, are taken now.

    Attributes
    ----------
    state, params : array
        Words by `layout.DEVICE_STATE` and `layout.DEVICE_PARAMETERS`.
    unsaved : bool
        Parameters differ from what is stored.
    """

    def __init__(self, store) -> None:
        self.store = store
        self.params = array("i", [row[2] for row in DEVICE_PARAMETERS])
        self.state = array("i", [0] * len(DEVICE_STATE))
        self.trial = array("i", self.params)
        self.restart()

    def restart(self) -> None:
        """Take the stored parameters and begin with start-up."""
        self.store.load(self.params)
        self.unsaved = False
        start(self.state, self.params)
        self.state[_BLOCK_BAD] = 1 if self.store.is_factory else 0

    def tick(self) -> None:
        """Do one tick; a board's interrupt may call `supervisor.run` instead."""
        run(self.state, self.params)

    def change(self, edits) -> int:
        """Change parameters, all of them or none, without a bump of the output.

        Parameters
        ----------
        edits : sequence
            Pairs of slot and word.

        Returns
        -------
        int
            -1, or the slot of the first word that would be illegal.
        """
        for slot in range(len(self.params)):
            self.trial[slot] = self.params[slot]
        for slot, word in edits:
            low, high = DEVICE_PARAMETERS[slot][1]
            if not low <= word <= high:
                return int(slot)
            self.trial[slot] = word
        slot = int(self.store.find_illegal(self.trial))
        if slot < 0:
            self._take_trial()
            self.unsaved = True
        return slot

    def _take_trial(self) -> None:
        # The tick holds its output from the first word to the last.
        self.state[_CHANGING] = _BEING_CHANGED
        for slot in range(len(self.params)):
            self.params[slot] = self.trial[slot]
        take_parameters(self.state, self.params)
        self.state[_CHANGING] = _CHANGED

    def wish(self, mode: int) -> None:
        """Ask for a mode: `AUTOMATIC`, `MANUAL` or `HOLD`."""
        self.state[_WISH] = mode

    def demand(self, output: int) -> None:
        """Set the manual output; outside manual the law overwrites it."""
        self.state[_DEMAND] = output

    def confirm(self) -> None:
        """Say that a person has seen the faults; those whose cause is gone end."""
        self.state[_CONFIRM] = 1

    def save(self) -> None:
        """Store the parameters.

        Raises
        ------
        OSError
            The medium failed.
        """
        self.store.save(self.params)
        self.unsaved = False
        self.state[_BLOCK_BAD] = 0

    def restore(self) -> None:
        """Go back to the stored parameters; without any, to the factory's."""
        self.store.load(self.trial)
        self._take_trial()
        self.unsaved = False
        self.state[_BLOCK_BAD] = 1 if self.store.is_factory else 0

    def take_factory(self) -> None:
        """Take the factory's parameters; the stored ones stay until a save."""
        self.store.put_factory(self.trial)
        self._take_trial()
        self.unsaved = True
