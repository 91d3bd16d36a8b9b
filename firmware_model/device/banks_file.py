"""The store's two banks as two files."""


class FileBanks:
    """Two files, of which a save rewrites one and leaves the other alone.

    The order is: write all, flush, close. On a board, `flush` returns when file,
    directory entry and medium are up to date, and only then does `Store.save`
    return; so the next save, which rewrites the other file, cannot overtake this
    one. Nothing is renamed: the rewritten file counts only when its CRC is right,
    and until then the other one is read. What the file system loses by itself in a
    power cut, no order of writing can hold: choose one that survives them.

    Parameters
    ----------
    stem : str
        The files' common name and folder; ``.0`` and ``.1`` follow it.
    """

    def __init__(self, stem: str) -> None:
        self.names = (stem + ".0", stem + ".1")

    def read(self, bank: int, buffer) -> int:
        """Read a bank from its start; return how many bytes it gave.

        Raises
        ------
        OSError
            There is no such file yet, or it cannot be read.
        """
        with open(self.names[bank], "rb") as file:
            return file.readinto(buffer)

    def write(self, bank: int, buffer) -> None:
        """Make a bank hold these bytes, for good when it returns.

        Raises
        ------
        OSError
            The file cannot be written.
        """
        with open(self.names[bank], "wb") as file:
            file.write(buffer)
            file.flush()
