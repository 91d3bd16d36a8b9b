"""The C99 export: the law, its header and a self-test, as three files."""

from pathlib import Path

from firmware_model.law import layout
from host_sim.prove.c99_header import write_header
from host_sim.prove.c99_law import write_law

LAW_FOLDER = Path(layout.__file__).parent
SELFTEST = Path(__file__).with_name("selftest.c")


def export_c99() -> dict[str, str]:
    """Write the law as C99.

    Returns
    -------
    dict
        File names and their text: ``law.h``, ``law.c``, and ``selftest.c``, which
        replays the golden vectors.

    Raises
    ------
    InputError
        The law uses something that the export does not know.

    >>> sorted(export_c99())
    ['law.c', 'law.h', 'selftest.c']
    """
    return {
        "law.h": write_header(),
        "law.c": write_law(LAW_FOLDER),
        "selftest.c": SELFTEST.read_text(encoding="utf-8"),
    }
