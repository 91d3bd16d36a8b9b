"""A closed loop recorded as the law sees it, to be replayed on other engines."""

from array import array
from binascii import crc32

from host_sim.law.controller import Controller
from host_sim.prove.episodes import INPUTS, Episode


class RecordedLaw(Controller):
    """The law in process, with its input words and the CRC of all state words."""

    def __init__(self, block):
        super().__init__(block)
        self.start = array("i", self.state)
        self.inputs = array("i")
        self.states = []
        self.crc = 0

    def tick(self, current_counts, pressure_counts, supply_counts):
        drive = super().tick(current_counts, pressure_counts, supply_counts)
        self.inputs.extend(self.state[:INPUTS])
        self.states.append(self.state.tolist())
        self.crc = crc32(self.state, self.crc)
        return drive

    def episode(self):
        """What an engine is given: parameters, the state to start from, inputs."""
        return Episode(array("i", self.block.words), self.start, self.inputs)

    def line(self):
        """What an engine must print: CRC of all words of all ticks, last words."""
        return f"{self.crc:08x} {' '.join(map(str, self.state))}"
