"""Two lines of sixteen characters, made once and written in place."""

from firmware_model.law.arith import const

COLUMNS = const(16)
_SPACE = const(32)


class Screen:
    """What a display shows; its driver copies both lines.

    Attributes
    ----------
    lines : tuple of bytearray
        ASCII, sixteen bytes each.
    """

    def __init__(self) -> None:
        self.lines = (bytearray(b" " * 16), bytearray(b" " * 16))

    def put(self, line: int, left: str, right: str = "") -> None:
        """Write a line: text at its left, text at its right; the right one wins.

        >>> screen = Screen()
        >>> screen.put(0, "GAIN P", "2.5")
        >>> screen.lines[0].decode()
        'GAIN P       2.5'
        """
        row = self.lines[line]
        for place in range(COLUMNS):
            row[place] = ord(left[place]) if place < len(left) else _SPACE
        start = COLUMNS - len(right)
        if right and 0 < start <= len(left):
            row[start - 1] = _SPACE
        for place, letter in enumerate(right):
            if start + place >= 0:
                row[start + place] = ord(letter)
