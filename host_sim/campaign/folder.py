"""A campaign's results: a manifest, and one whole file for each finished chunk.

The files are NPZ. numpy reads and writes them, so nothing else need be
installed (Parquet needs a library several times numpy's size); each column
keeps its bits, each has its own checksum, and
``pandas.DataFrame(combine(folder))`` opens the whole.
"""

import hashlib
import inspect
import json
import re
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np

import firmware_model.law
import host_sim.campaign
import host_sim.compiling
import host_sim.law
import host_sim.loop
import host_sim.measure
import host_sim.plant
from host_sim.campaign.point import Campaign, Columns, measure_largest_steps
from host_sim.errors import InputError
from host_sim.show.files import make_folder, write_whole

LAYOUT = 1
MANIFEST = "manifest.json"
_CHUNK = re.compile(r"points-(\d+)-(\d+)\.npz")
_UNREADABLE = (
    OSError,
    EOFError,
    KeyError,
    ValueError,
    zipfile.BadZipFile,
    zlib.error,
)
_ROOMS = (
    firmware_model.law,
    host_sim.campaign,
    host_sim.compiling,
    host_sim.law,
    host_sim.loop,
    host_sim.measure,
    host_sim.plant,
)


@dataclass(frozen=True)
class Failure:
    """A point that gave no answer: its exact numbers, and what it said."""

    index: int
    noise_seed: int
    parameters: dict[str, float]
    message: str

    def __str__(self) -> str:
        """One line that another run can be made from."""
        numbers = ", ".join(f"{path} = {n!r}" for path, n in self.parameters.items())
        return (
            f"point {self.index} ({numbers}, noise seed {self.noise_seed}): "
            f"{self.message}"
        )


def open_folder(folder: Path, campaign: Campaign) -> None:
    """Make a results folder, or make sure that it is this campaign's.

    Parameters
    ----------
    folder : Path
    campaign : Campaign

    Raises
    ------
    InputError
        Another campaign's, of another layout, none at all, or not writable.
    """
    wanted = json.loads(json.dumps(_manifest(campaign)))
    make_folder(folder)
    # A process that was killed while it wrote leaves an unfinished file.
    for unfinished in folder.glob("tmp*.npz"):
        unfinished.unlink(missing_ok=True)
    if (folder / MANIFEST).exists():
        _refuse_other(folder, _read_manifest(folder), wanted)
    elif any(_CHUNK.fullmatch(path.name) for path in folder.iterdir()):
        raise InputError(
            f"{folder}: results without {MANIFEST}, so of an unknown campaign; name "
            "another folder"
        )
    text = json.dumps(wanted, indent=2) + "\n"
    write_whole(folder / MANIFEST, lambda path: path.write_text(text))


def write_chunk(folder: Path, columns: Columns) -> None:
    """Write a finished chunk, whole or not at all.

    Raises
    ------
    InputError
        The folder is not writable.
    """
    start, stop = int(columns["index"][0]), int(columns["index"][-1]) + 1
    path = folder / f"points-{start:09d}-{stop:09d}.npz"
    # What savez takes besides columns are names that no column has.
    write_whole(path, lambda beside: np.savez(beside, **columns))  # type: ignore[arg-type]


def list_chunks(folder: Path) -> Iterator[tuple[int, int, Path]]:
    """List the chunk files: first point, the one after the last, file."""
    names = [_CHUNK.fullmatch(path.name) for path in folder.iterdir()]
    ranges = sorted((int(name[1]), int(name[2]), name[0]) for name in names if name)
    for start, stop, name in ranges:
        yield start, stop, folder / name


def read_chunk(path: Path) -> Columns:
    """Read a chunk and check that it is whole.

    Raises
    ------
    InputError
        It is not; the campaign runs it again.
    """
    try:
        # numpy leaves open a file that it cannot read and opened itself.
        with path.open("rb") as stream, np.load(stream) as archive:
            columns = {name: archive[name] for name in archive.files}
        start, stop = (int(number) for number in path.stem.split("-")[1:])
        rows = columns["index"].tolist()
        if rows != list(range(start, stop)) or {
            len(column) for column in columns.values()
        } != {stop - start}:
            raise ValueError
    except _UNREADABLE:
        raise InputError(
            f"{path}: corrupt chunk; run the campaign again, it runs this chunk anew"
        ) from None
    return columns


def combine(folder: Path) -> Columns:
    """Put all finished chunks into one columnar table, in order of points.

    Parameters
    ----------
    folder : Path
        A results folder; the campaign need not be complete.

    Returns
    -------
    dict of str to ndarray, shape (finished points,)
        ``index``, ``noise_seed``, ``failed``, the number at each path, each
        metric (NaN where a point has none).

    Raises
    ------
    InputError
        No results folder, one of another layout, or a corrupt chunk.
    """
    _check_layout(folder, _read_manifest(folder))
    chunks = list(list_chunks(folder))
    size = sum(stop - start for start, stop, _ in chunks)
    table: Columns = {}
    row = 0
    for start, stop, path in chunks:
        end = row + stop - start
        for name, column in read_chunk(path).items():
            if name != "message":
                if name not in table:
                    blank = np.nan if column.dtype.kind == "f" else 0
                    table[name] = np.full(size, blank, dtype=column.dtype)
                table[name][row:end] = column
        row = end
    return table


def read_failures(folder: Path) -> Iterator[Failure]:
    """Read the points that gave no answer, chunk by chunk.

    Raises
    ------
    InputError
        No results folder, one of another layout, or a corrupt chunk.
    """
    manifest = _read_manifest(folder)
    _check_layout(folder, manifest)
    for _, _, path in list_chunks(folder):
        columns = read_chunk(path)
        for row in np.flatnonzero(columns["failed"]):
            yield Failure(
                int(columns["index"][row]),
                int(columns["noise_seed"][row]),
                {axis: float(columns[axis][row]) for axis in manifest["space"]["axes"]},
                str(columns["message"][row]),
            )


def _manifest(campaign: Campaign) -> dict[str, Any]:
    evaluate = campaign.evaluate or measure_largest_steps
    return {
        "layout": LAYOUT,
        "title": campaign.scenario.title,
        "scenario_sha256": _digest([repr(campaign.scenario).encode()]),
        "evaluate": f"{evaluate.__module__}.{evaluate.__qualname__}",
        "evaluate_sha256": _digest([inspect.getsource(evaluate).encode()]),
        "program_sha256": _digest(
            [
                source.read_bytes()
                for room in _ROOMS
                for source in sorted(Path(room.__path__[0]).glob("*.py"))
            ]
        ),
        "libraries": {name: version(name) for name in ("llvmlite", "numpy", "scipy")},
        "space": campaign.space.as_dict(),
    }


def _digest(parts: list[bytes]) -> str:
    return hashlib.sha256(b"\0".join(parts)).hexdigest()


def _read_manifest(folder: Path) -> dict[str, Any]:
    path = folder / MANIFEST
    try:
        manifest = json.loads(path.read_text())
    except FileNotFoundError:
        raise InputError(
            f"{folder}: no {MANIFEST}, so no results of a campaign; name the folder "
            "that a campaign wrote"
        ) from None
    except (OSError, ValueError):
        manifest = None
    if not isinstance(manifest, dict):
        raise InputError(f"{path}: cannot be read; name another folder")
    return manifest


def _check_layout(folder: Path, manifest: dict[str, Any]) -> None:
    if manifest.get("layout") != LAYOUT:
        raise InputError(
            f"{folder}: results of layout {manifest.get('layout')!r}, this program "
            f"writes {LAYOUT}; name another folder, or use the program that began it"
        )


def _refuse_other(folder: Path, found: dict[str, Any], wanted: dict[str, Any]) -> None:
    _check_layout(folder, found)
    there, here = (dict(_flatten(manifest)) for manifest in (found, wanted))
    for name in {**here, **there}:
        if there.get(name) != here.get(name):
            raise InputError(
                f"{folder}: holds another campaign: {name} is {there.get(name)!r} "
                f"there and {here.get(name)!r} here; name another folder, or repeat "
                "the campaign that began it"
            )
    if list(found["space"]["axes"]) != list(wanted["space"]["axes"]):
        raise InputError(
            f"{folder}: holds another campaign: its axes stand in the order "
            f"{', '.join(found['space']['axes'])}; put them so, or name another folder"
        )


def _flatten(node: dict[str, Any], path: str = "") -> Iterator[tuple[str, Any]]:
    for name, inner in node.items():
        if isinstance(inner, dict):
            yield from _flatten(inner, f"{path}{name}.")
        else:
            yield f"{path}{name}", inner
