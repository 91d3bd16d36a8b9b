"""A block device that loses power, below MicroPython's own file systems.

By the extended interface a byte programmed and a block erased are one step each;
by the plain one, a block written. Without power it answers with an error, for an
exception would pass through the file system's own code. Runs on MicroPython only.
"""

import vfs
from failing_power import PowerLostError, Supply

from firmware_model.device.banks_file import FileBanks

FOLDER = "/medium"
FAILED = -5


class FailingBlocks(Supply):
    """Blocks for a file system of a kind, ``vfs.VfsLfs2`` or ``vfs.VfsFat``.

    ``torn`` says what a block holds that was being written by the plain interface:
    "old" content, "part" of the new, or "anything".
    """

    def __init__(self, random, kind, count, block_bytes, torn):
        super().__init__()
        self.random = random
        self.kind = kind
        self.block_bytes = block_bytes
        self.torn = torn
        self.cells = bytearray(b"\xff" * (count * block_bytes))
        self.port = _Port(self)

    def format(self):
        """Make an empty file system."""
        self.kind.mkfs(self.port)
        return self

    def copy(self):
        """Make another device with the same content."""
        twin = FailingBlocks(self.random, self.kind, 0, self.block_bytes, self.torn)
        twin.cells = bytearray(self.cells)
        return twin

    def banks(self):
        """Mount the file system as a start of the board does; return the banks."""
        unmount()
        # A file that was open in a power cut is closed when its memory is freed;
        # through the old port that changes nothing.
        self.port = _Port(self)
        try:  # noqa: SIM105 (no contextlib on a board)
            vfs.mount(self.kind(self.port), FOLDER)
        except OSError:
            # No file system is left; the banks will say so.
            pass
        return FileBanks(FOLDER + "/pilot")

    def revive(self):
        """Give it power again, with nothing mounted."""
        unmount()
        super().revive()

    def program(self, first, buffer):
        for k in range(len(buffer)):
            if self.fails_now():
                self.cells[first + k] &= buffer[k] | self.random.getrandbits(8)
                self.fail()
            self.cells[first + k] &= buffer[k]
            self.end_step()

    def erase(self, first):
        if self.fails_now():
            self._spoil(first, self.random.randrange(self.block_bytes + 1))
            self.fail()
        self.cells[first : first + self.block_bytes] = b"\xff" * self.block_bytes
        self.end_step()

    def write(self, first, block):
        if self.fails_now():
            if self.torn == "part":
                block = block[: self.random.randrange(len(block) + 1)]
                self.cells[first : first + len(block)] = block
            elif self.torn == "anything":
                self._spoil(first, len(block))
            self.fail()
        self.cells[first : first + len(block)] = block
        self.end_step()

    def _spoil(self, first, count):
        for at in range(first, first + count):
            self.cells[at] = self.random.getrandbits(8)


class _Port:
    """The device as one start of the board sees it."""

    def __init__(self, device):
        self.device = device

    def readblocks(self, block, buffer, offset=0):
        device = self.device
        if device.dead or device.port is not self:
            return FAILED
        first = block * device.block_bytes + offset
        buffer[:] = device.cells[first : first + len(buffer)]
        return 0

    def writeblocks(self, block, buffer, offset=None):
        device = self.device
        if device.dead or device.port is not self:
            return FAILED
        first = block * device.block_bytes
        try:
            if offset is not None:
                device.program(first + offset, buffer)
            else:
                for k in range(0, len(buffer), device.block_bytes):
                    device.write(first + k, buffer[k : k + device.block_bytes])
        except PowerLostError:
            return FAILED
        return 0

    def ioctl(self, request, argument):
        device = self.device
        if request == 4:
            return len(device.cells) // device.block_bytes
        if request == 5:
            return device.block_bytes
        if device.dead or device.port is not self:
            return FAILED
        if request == 6:
            try:
                device.erase(argument * device.block_bytes)
            except PowerLostError:
                return FAILED
        return 0


def unmount():
    """Unmount what is mounted, if anything is; a dead device makes no difference."""
    try:  # noqa: SIM105 (no contextlib on a board)
        vfs.umount(FOLDER)
    except OSError:
        pass
