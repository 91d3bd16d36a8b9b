"""`integer-pilot build`: the law compiled for boards."""

import argparse
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from host_sim.cli.options import add_json, print_json

if TYPE_CHECKING:
    from host_sim.prove.build import Build


def add_parser(commands: "argparse._SubParsersAction[Any]") -> None:
    """Add the command."""
    parser = commands.add_parser("build", help="compile the law for boards")
    parser.add_argument(
        "folder", type=Path, metavar="DIR", nargs="?", help="keep the files here"
    )
    add_json(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> None:
    """Compile, keep the files if asked for, print the sizes."""
    import tempfile

    from host_sim.prove.build import build_all, microbit_files

    with tempfile.TemporaryDirectory() as name:
        builds = build_all(args.folder or Path(name))
    if args.folder:
        _write_microbit(args.folder / "microbit", microbit_files())
    if args.json:
        print_json([_as_dict(build) for build in builds])
    else:
        _show(builds)
        if args.folder:
            print(f"{args.folder}: these builds, and microbit/ to copy to that board")


def _write_microbit(folder: Path, files: dict[str, str]) -> None:
    from host_sim.show.files import make_folder, write_whole

    make_folder(folder)
    # A board runs all pieces that it finds: none may be left of an older law.
    for old in folder.glob("law_*"):
        old.unlink()
    for name, text in files.items():
        write_whole(folder / name, partial(Path.write_text, data=text))


def _as_dict(build: "Build") -> dict[str, Any]:
    return {
        "build": build.name,
        "size_bytes": build.size_bytes,
        "run_by_an_engine": build.run,
    }


def _show(builds: "list[Build]") -> None:
    print(f"{'build of the law':20}{'bytes':>8}  proved by running")
    for build in builds:
        proved = "yes, bit for bit" if build.run else "no: compiled, not run"
        print(f"{build.name:20}{build.size_bytes:8}  {proved}")
