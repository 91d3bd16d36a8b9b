"""Check the boards' mains against each board's type stubs: ``python THIS_FILE``.

Fetches the stubs into a folder of its own, for they hide the computer's standard
library. The stubs' own faults are left out; a wrong call, added to each main, must
be found, or nothing was checked.
"""

import os
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[2]
BOARDS = ROOT / "firmware_model" / "boards"
FAMILIES = ("rp2", "stm32", "esp32")
WRONG = "\npilot.start(Timer(0), hard='yes')\n"


def complaints(stubs: Path, source: Path) -> list[str]:
    """Let mypy check a main, the pilot and the pins; return what it says of them."""
    files = [source, BOARDS / "pilot.py", BOARDS / "pins.py"]
    command = [sys.executable, "-m", "mypy", "--follow-imports", "silent"]
    command += ["--custom-typeshed-dir", str(stubs), "--cache-dir", str(stubs / "c")]
    done = subprocess.run(
        [*command, *map(str, files)],
        cwd=ROOT,
        env=os.environ | {"MYPYPATH": str(stubs)},
        capture_output=True,
        text=True,
        check=False,
    )
    if "3 source files" not in done.stdout:
        raise SystemExit(f"mypy did not check: {done.stdout}{done.stderr}")
    return [line for line in done.stdout.splitlines() if "/boards/" in f"/{line}"]


def check(family: str, folder: Path) -> list[str]:
    """Check one family; return the complaints."""
    stubs = folder / family
    install = [sys.executable, "-m", "pip", "install", "--quiet", "--target"]
    package = f"micropython-{family}-stubs"
    subprocess.run([*install, str(stubs), package], check=True)
    main = BOARDS / f"main_{family}.py"
    wrong = folder / "boards" / main.name
    wrong.parent.mkdir(exist_ok=True)
    wrong.write_text(main.read_text() + WRONG)
    if not any(str(wrong.name) in line for line in complaints(stubs, wrong)):
        raise SystemExit(f"{family}: a wrong call was not found")
    return complaints(stubs, main)


def run() -> int:
    """Check all families."""
    with tempfile.TemporaryDirectory() as name:
        found = {family: check(family, Path(name)) for family in FAMILIES}
    for family, lines in found.items():
        print(f"{family}: {len(lines)} complaints", *lines, sep="\n")
    return int(any(found.values()))


if __name__ == "__main__":
    sys.exit(run())
