"""The stored document of keys is what the command writes."""

from pathlib import Path

from host_sim import scenario
from host_sim.cli.main import main

STORED = Path(scenario.__file__).with_name("README.md")


def test_keys_document_is_what_the_command_prints(capsys):
    assert main(["info", "--keys"]) == 0
    assert capsys.readouterr().out == STORED.read_text()
