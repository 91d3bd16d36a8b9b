"""An acceptance's folder: raw rows, what they were made with, and checksums of both.

``manifest.json`` is written anew after each sequence, so whatever stops a run, the
finished ones stay. The scenario and the limits are kept as copies: all numbers can be
worked out again from the folder alone.
"""

import json
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import tomlkit

from host_sim.accept.rows import Rows, read_rows, sha256
from host_sim.errors import InputError
from host_sim.show.files import make_folder, write_whole

MANIFEST = "manifest.json"
SCENARIO, LIMITS = "scenario.toml", "limits.toml"
MADE_WITH = ("device", "scenario_sha256", "parameters_crc32")


@dataclass
class Folder:
    """A folder with its manifest.

    Attributes
    ----------
    path : Path
    manifest : dict
        ``made_with``: device, identity, versions, checksums; ``sequences``: file,
        SHA-256 and ticks of each finished one, by name.
    """

    path: Path
    manifest: dict[str, Any]

    @classmethod
    def begin(
        cls,
        path: Path,
        made_with: dict[str, Any],
        scenario: Path,
        limits: Path | None,
    ) -> "Folder":
        """Begin a folder, or go on with one that was made with the same.

        Raises
        ------
        InputError
            The folder is another acceptance's, or not writable.
        """
        make_folder(path)
        if (path / MANIFEST).exists():
            folder = cls.read(path)
            for key in MADE_WITH:
                if folder.manifest["made_with"][key] != made_with[key]:
                    raise InputError(
                        f"{path}: begun with another {key}: "
                        f"{folder.manifest['made_with'][key]}; name another folder"
                    )
            folder.manifest["made_with"] = made_with
        else:
            folder = cls(path, {"made_with": made_with, "sequences": {}})
        folder.copy_scenario(scenario)
        folder.copy_limits(limits)
        folder.write()
        return folder

    def copy_scenario(self, scenario: Path) -> None:
        """Keep the scenario, and beside it the recording that it may name."""
        document = tomlkit.parse(scenario.read_text(encoding="utf-8"))
        profile = document.get("profile", {})
        if "recording" in profile:
            recording = scenario.parent / str(profile["recording"])
            profile["recording"] = recording.name
            self._copy(recording.name, recording.read_text(encoding="utf-8"))
        self._copy(SCENARIO, tomlkit.dumps(document))

    def copy_limits(self, limits: Path | None) -> None:
        """Keep the limits; without any, nothing is judged from now on."""
        if limits is not None:
            self._copy(LIMITS, limits.read_text(encoding="utf-8"))
        else:
            self.manifest.setdefault("copies", {}).pop(LIMITS, None)
            (self.path / LIMITS).unlink(missing_ok=True)

    def _copy(self, name: str, text: str) -> None:
        self.write_text(name, text)
        copies = self.manifest.setdefault("copies", {})
        copies[name] = sha256(self.path / name)

    def check_copies(self) -> None:
        """Refuse a scenario or limits that were edited in the folder.

        Raises
        ------
        InputError
        """
        for name, wanted in self.manifest.get("copies", {}).items():
            path = self.path / name
            if not path.exists() or sha256(path) != wanted:
                raise InputError(
                    f"{path}: its SHA-256 is not the recorded one: edited, damaged or "
                    "gone; restore it, or give other limits with --limits"
                )

    @classmethod
    def read(cls, path: Path) -> "Folder":
        """Read a folder.

        Raises
        ------
        InputError
            It is none.
        """
        try:
            manifest = json.loads((path / MANIFEST).read_text(encoding="utf-8"))
            _ = manifest["made_with"]["device"], manifest["sequences"]
        except (OSError, ValueError, KeyError, TypeError):
            raise InputError(
                f"{path}: no folder of an acceptance ({MANIFEST} is missing or "
                "damaged); name one that `accept --to` wrote"
            ) from None
        return cls(path, manifest)

    @property
    def limits(self) -> Path | None:
        """The copy of the limits, if there is one."""
        path = self.path / LIMITS
        return path if path.exists() else None

    def write(self) -> None:
        """Write the manifest."""
        text = json.dumps(self.manifest, indent=2) + "\n"
        self.write_text(MANIFEST, text)

    def write_text(self, name: str, text: str) -> None:
        """Write a text file, whole or not at all."""
        fill: Callable[[Path], object] = partial(
            Path.write_text, data=text, encoding="utf-8"
        )
        write_whole(self.path / name, fill)

    def keep(self, name: str, rows: Rows) -> None:
        """Keep the rows of a finished sequence."""

        def write(path: Path) -> int:
            rows.write_csv(path)
            return len(rows.table)

        self.keep_file(name, write)

    def keep_file(self, name: str, write: Callable[[Path], int]) -> None:
        """Let a writer fill a CSV file, which returns its rows, and keep it."""
        path = self.path / f"{name}.csv"
        rows: list[int] = []
        write_whole(path, lambda beside: rows.append(write(beside)))
        self.manifest["sequences"][name] = {
            "file": path.name,
            "sha256": sha256(path),
            "ticks": rows[0],
        }
        self.write()

    def checked(self, name: str) -> Path:
        """Give a kept file, whose checksum is right.

        Raises
        ------
        InputError
        """
        kept = self.manifest["sequences"][name]
        path = self.path / str(kept["file"])
        if not path.exists() or sha256(path) != kept["sha256"]:
            raise InputError(
                f"{path}: its SHA-256 is not the recorded one: edited, damaged or "
                "gone; restore the file or measure again"
            )
        return path

    def rows(self, name: str) -> Rows:
        """Read the rows of a finished sequence.

        Raises
        ------
        InputError
            The file was edited, is damaged or gone.
        """
        kept = self.manifest["sequences"][name]
        return read_rows(self.path / kept["file"], kept["sha256"])

    def is_finished(self, name: str) -> bool:
        """Tell whether a sequence has been run."""
        return name in self.manifest["sequences"]
