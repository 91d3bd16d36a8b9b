"""Files that lose power: before a flush, anything may be on the medium.

What has been flushed stays. Of what has not, some bytes may be there, others old
or garbage, the length anything between, and the name of a new file gone. Each
byte written is one step, and so are opening, flushing and closing.
"""

from failing_power import Supply

NO_SPACE_LEFT = 28


class FailingFiles(Supply):
    """Files by name: what a program sees of them, and what of them is safe.

    Attributes
    ----------
    flush_lies : bool
        A flush makes nothing safe.
    room, full_is_silent
        How many bytes a file may have, and whether one that is full takes fewer
        without a word.
    log : list
        Every change of a file in turn, as name and content.
    """

    def __init__(self, random, *, flush_lies=False):
        super().__init__()
        self.random = random
        self.flush_lies = flush_lies
        self.room = None
        self.full_is_silent = False
        self.safe = {}
        self.seen = {}
        self.log = []

    def copy(self):
        """Make another file system with the same content."""
        twin = FailingFiles(self.random, flush_lies=self.flush_lies)
        twin.safe, twin.seen = dict(self.safe), dict(self.seen)
        return twin

    def revive(self):
        """Give it power again; without a cut, nothing is lost."""
        if self.dead:
            for name in sorted(set(self.safe) | set(self.seen)):
                if self.safe.get(name) != self.seen.get(name):
                    self._lose(name)
            self.seen = dict(self.safe)
        super().revive()

    def open(self, name, mode):
        """Stand in for the built-in function."""
        self.check()
        if mode == "rb" and name not in self.seen:
            raise OSError(2, "no such file")
        if mode == "wb":
            self.put(name, b"")
        return _File(self, name)

    def put(self, name, content):
        """Change a file, not yet for good, in one step."""
        if self.fails_now():
            # That it may or may not be there is what `revive` draws.
            self.fail()
        self.seen[name] = content
        self.log.append((name, content))
        self.end_step()

    def flush(self, name):
        """Make a file's content safe, in one step."""
        if self.fails_now():
            self.fail()
        if not self.flush_lies:
            self.safe[name] = self.seen[name]
        self.end_step()

    def _lose(self, name):
        """Mix old and new bytes and others, in any length from none to all."""
        if name not in self.safe and self.random.getrandbits(2) == 0:
            return
        old, new = self.safe.get(name, b""), self.seen[name]
        longest = max(len(old), len(new))
        some = self.random.randrange(longest + 1)
        length = self.random.choice((len(new), len(old), 0, some))
        mixed = bytearray(self.random.getrandbits(8) for _ in range(length))
        sector = self.random.choice((1, 16, 512))
        for first in range(0, length, sector):
            piece = self.random.choice((old, new, b"", bytes(length)))
            piece = piece[first : min(first + sector, length)]
            mixed[first : first + len(piece)] = piece
        self.safe[name] = bytes(mixed)


class _File:
    def __init__(self, files, name):
        self.files = files
        self.name = name

    def __enter__(self):
        return self

    def __exit__(self, kind, error, traceback):
        if kind is None:
            self.files.end_step()

    def readinto(self, buffer):
        content = self.files.seen[self.name][: len(buffer)]
        buffer[: len(content)] = content
        return len(content)

    def write(self, buffer):
        files = self.files
        for k in range(len(buffer)):
            if k == files.room:
                if files.full_is_silent:
                    return k
                raise OSError(NO_SPACE_LEFT, "no space left")
            files.put(self.name, files.seen[self.name] + buffer[k : k + 1])
        return len(buffer)

    def flush(self):
        self.files.flush(self.name)
