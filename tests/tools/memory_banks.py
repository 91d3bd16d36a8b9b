"""The store's banks in plain memory. Runs on MicroPython, too."""


class MemoryBanks:
    """Two banks with the contents given."""

    def __init__(self, first=b"", second=b""):
        self.contents = [first, second]

    def read(self, bank, buffer):
        content = self.contents[bank][: len(buffer)]
        buffer[: len(content)] = content
        return len(content)

    def write(self, bank, buffer):
        self.contents[bank] = bytes(buffer)
