"""The inventory as text that a person can paste into a report."""

from typing import Any

from host_sim.show.tables import console


def show_inventory(inventory: dict[str, Any]) -> None:
    """Print versions, then engines with the remedy for each missing one."""
    out = console()
    out.print(f"integer-pilot {inventory['integer_pilot']}")
    out.print(f"Python {inventory['python']} on {inventory['machine']}")
    law = inventory["law"]
    out.print(
        f"law: {law['state_words']} state words, "
        f"{law['parameter_words']} parameter words of 32 bits"
    )
    out.print("packages:")
    for name, found in inventory["packages"].items():
        out.print(f"  {name}: {found or f'not installed (pip install {name})'}")
    out.print("engines:")
    for engine in inventory["engines"]:
        state = "found"
        if not engine["found"]:
            state = f"missing {engine['missing']}: {engine['remedy']}"
        out.print(f"  {engine['name']}: {state}")
