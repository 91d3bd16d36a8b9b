"""The proof as text, and its table "how close to the edge" in a document."""

from pathlib import Path
from typing import Any

from host_sim.errors import InputError
from host_sim.prove.interval import LIMIT
from host_sim.prove.proof import Line, Proof
from host_sim.show.files import write_whole
from host_sim.show.tables import console

BEGIN = "<!-- edge:begin -->"
END = "<!-- edge:end -->"
TIGHTEST = 10


def show_proof(proof: Proof, what: str) -> None:
    """Print what was shown of the law or device, tightest lines, and what failed."""
    out = console()
    verdict = "proved" if proof.holds else "NOT proved"
    out.print(
        f"{verdict}: no intermediate of the {what} leaves +-{_grouped(LIMIT)}, and "
        "every state word stays within its declared range"
    )
    out.print(
        f"{_grouped(proof.paths)} paths, {_grouped(proof.operations)} operations, "
        f"{proof.time_s:.2f} s; from: {', '.join(proof.roots)}"
    )
    for failure in proof.failures:
        out.print(f"failed in {failure.root}, {failure.where}: {failure.what}")
        out.print(f"  path: {failure.path}")
    out.print("tightest lines (worst value, margin in bits):")
    for line in proof.lines[:TIGHTEST]:
        out.print(
            f"  {line.module}.py:{line.line} {line.function}: {_grouped(line.worst)}, "
            f"{line.margin_bits:.4f}"
        )


def proof_as_dict(proof: Proof) -> dict[str, Any]:
    """Turn a proof into what ``--json`` prints."""
    return {
        "holds": proof.holds,
        "limit": LIMIT,
        "paths": proof.paths,
        "operations": proof.operations,
        "time_s": proof.time_s,
        "roots": proof.roots,
        "failures": [vars(failure) for failure in proof.failures],
        "lines": [
            {**vars(line), "margin_bits": line.margin_bits} for line in proof.lines
        ],
    }


def edge_table(proof: Proof) -> str:
    """Write the table: each function's tightest line, in Markdown."""
    rows = [_row(line) for line in proof.tightest_of_each_function()]
    head = (
        f"{_grouped(proof.paths)} paths, {_grouped(proof.operations)} operations. "
        "The worst value is a bound that no run exceeds. Functions that compute "
        "nothing have no row.\n\n"
        "| function | tightest line | worst value | margin, bits |\n"
        "| --- | --- | ---: | ---: |\n"
    )
    return head + "\n".join(rows) + "\n"


def _row(line: Line) -> str:
    return (
        f"| `{line.function}` | `{line.module}.py:{line.line}` "
        f"| {_grouped(line.worst)} | {line.margin_bits:.4f} |"
    )


def with_table(document: str, table: str) -> str:
    r"""Put the table between a document's markers.

    Raises
    ------
    InputError
        The markers are not there, once each, in this order.

    >>> with_table("a <!-- edge:begin --> old <!-- edge:end --> b", "new")
    'a <!-- edge:begin -->\nnew\n<!-- edge:end --> b'
    """
    before, begin, rest = document.partition(BEGIN)
    _, end, after = rest.partition(END)
    if not (begin and end) or BEGIN in rest or END in before + after:
        raise InputError(f"no single region between {BEGIN} and {END}: add these lines")
    return f"{before}{BEGIN}\n{table}\n{END}{after}"


def write_table(path: Path, proof: Proof) -> None:
    """Rewrite the table in a document.

    Raises
    ------
    InputError
        The proof failed, the document cannot be read or has no markers.
    """
    if not proof.holds:
        raise InputError(f"{path}: not written, since the proof failed")
    document = with_table(_read(path), edge_table(proof))
    write_whole(path, lambda beside: beside.write_text(document, encoding="utf-8"))


def table_is_current(path: Path, proof: Proof) -> bool:
    """Tell whether the stored table is what would be written."""
    stored = _read(path)
    return proof.holds and with_table(stored, edge_table(proof)) == stored


def _read(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"{path}: cannot read ({error}); name a text file") from None


def _grouped(number: int) -> str:
    return f"{number:,}".replace(",", " ")
