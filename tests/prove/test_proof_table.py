"""The stored table of margins is what the command writes."""

from pathlib import Path

from host_sim.prove.proof import prove_law
from host_sim.show.proof import table_is_current

DOCUMENT = Path(__file__).parents[2] / "DEVELOPERS.md"


def test_proof_table_in_the_document_is_current():
    assert table_is_current(DOCUMENT, prove_law())
