"""The two text files of golden vectors: what they say and how they are sealed."""

import zlib
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from firmware_model.law import layout
from host_sim.errors import InputError
from host_sim.prove.vector_layout import layout_fingerprint

PARAMETERS_FILE = "parameters.txt"
TICKS_FILE = "ticks.txt"
REMEDY = "rewrite both files with `integer-pilot vectors write`"

PARAMETERS_HEADER = """\
Golden vectors of the control law, first file: the parameter blocks.

The header of ticks.txt explains both files.

  layout L            fingerprint of the words, as in ticks.txt
  block B W0 ... W93  parameter block B, all its words in the order below
  end N               the file holds N blocks
  sum S               CRC-32 of every byte above this line

Word, name, lowest, highest, value in a fresh block, meaning:
"""
TICKS_HEADER = """\
Golden vectors of the control law, second file: what goes in, what comes out.

With this file and parameters.txt a port of the law in any language is checked
with nothing else at hand. Plain ASCII, lines end with one line feed. A line
that starts with # is a remark. Any other line is a keyword and its numbers, one
blank between them: decimal, but L, S, P and C in eight hexadecimal digits.

  layout L              fingerprint of names and ranges of all words; a law with
                        another layout cannot be checked with these files
  parameters P          the sum line of the parameters file written with this
  episode B NAME        a run begins: take block B; the running CRC is 0
  start W0 ... W41      set all state words, in the order below
  reset                 call the law's reset now
  tick I0 ... I4 C      write the five inputs into the state words 0 to 4 and
                        call the law's tick; the running CRC must now be C
  state W0 ... W41      the state words must now be these; after a reset and the
                        tick behind it, after every 16th tick and the last one
  end E T               the file holds E episodes and T ticks
  sum S                 CRC-32 of every byte above this line

The CRC is CRC-32/ISO-HDLC: polynomial 04C11DB7, reflected (EDB88320), starting
value and final inversion FFFFFFFF; that of the nine digits 123456789 is
CBF43926. The running CRC takes, after each tick of an episode, all state words
in order, each as four bytes of its two's complement, lowest byte first, as if
the bytes of all its ticks stood in one row.

Word, name, lowest, highest, meaning:
"""


@dataclass(frozen=True)
class Sealed:
    """The lines of a file whose sum is right, and that sum.

    Attributes
    ----------
    lines : list of list of str
        Each line that is no remark, in its parts; without the sum line.
    sum : str
    """

    lines: list[list[str]]
    sum: str


def crc_text(crc: int) -> str:
    """Write a CRC-32 as the files do.

    >>> crc_text(zlib.crc32(b"123456789"))
    'cbf43926'
    """
    return f"{crc:08x}"


def words_text(words: Iterable[int]) -> str:
    """Write words with a blank between them.

    >>> words_text([1, -2])
    '1 -2'
    """
    return " ".join(map(str, words))


def parameters_header() -> list[str]:
    """Write the remarks at the head of the parameters file."""
    rows = [
        f"  {slot} {name} {low} {high} {fresh}  {meaning}"
        for slot, (name, (low, high), fresh, meaning) in enumerate(layout.PARAMETERS)
    ]
    return _remarks(PARAMETERS_HEADER, rows)


def ticks_header() -> list[str]:
    """Write the remarks at the head of the ticks file."""
    rows = [
        f"  {slot} {name} {low} {high}  {meaning}"
        for slot, (name, (low, high), meaning) in enumerate(layout.STATE)
    ]
    return _remarks(TICKS_HEADER, rows)


def seal(lines: Iterable[str]) -> tuple[str, str]:
    """Join lines and add the sum line; return the text and the sum."""
    text = "".join(f"{line}\n" for line in lines)
    total = crc_text(zlib.crc32(text.encode("ascii")))
    return f"{text}sum {total}\n", total


def read_sealed(path: Path) -> Sealed:
    """Read a file whole; refuse one that is not as it was written.

    Raises
    ------
    InputError
        Missing, cut short, edited, or written for another layout.
    """
    try:
        content = path.read_bytes()
    except OSError as error:
        raise InputError(f"{path}: {error.strerror}; {REMEDY}") from None
    head, mark, tail = content.rpartition(b"\nsum ")
    if not mark or len(tail) != len("00000000\n"):
        raise InputError(f"{path}: cut short, no sum line at its end; {REMEDY}")
    found, said = crc_text(zlib.crc32(head + b"\n")), tail.decode("latin-1")
    if said != f"{found}\n":
        raise InputError(
            f"{path}: edited, its sum is {found} and not {said.strip()!r}; {REMEDY}"
        )
    text = head.decode("ascii")
    lines = [line.split(" ") for line in text.split("\n") if not line.startswith("#")]
    if lines[0] != ["layout", layout_fingerprint()]:
        raise InputError(
            f"{path}: written for another layout ({' '.join(lines[0])}); this law has "
            f"layout {layout_fingerprint()}; {REMEDY}"
        )
    return Sealed(lines, found)


def _remarks(header: str, rows: list[str]) -> list[str]:
    return [f"# {line}".rstrip() for line in [*header.splitlines(), "", *rows]]
