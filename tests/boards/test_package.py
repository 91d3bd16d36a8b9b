"""The packages list exactly the board files that are in the tree."""

import json
from importlib.metadata import version
from pathlib import Path

import firmware_model

FOLDER = Path(firmware_model.__file__).parent
FILES = {
    path.relative_to(FOLDER).as_posix()
    for path in FOLDER.rglob("*.py")
    if path.name != "manifest.py"
}


def test_package_json_lists_every_board_file_and_no_other():
    package = json.loads((FOLDER / "package.json").read_text())
    urls = [tuple(pair) for pair in package["urls"]]
    assert sorted(urls) == sorted((f"firmware_model/{file}", file) for file in FILES)
    assert package["deps"] == []
    assert package["version"] == version("integer-pilot")


def test_manifest_lists_every_board_file_and_no_other():
    calls = {}
    space = {
        "metadata": lambda **said: calls.update({"metadata": said}),
        "package": lambda *said, **more: calls.update(package=(said, more)),
    }
    exec((FOLDER / "manifest.py").read_text(), space)
    (name, files), more = calls["package"]
    assert name == "firmware_model"
    assert sorted(files) == sorted(FILES)
    assert (FOLDER / more["base_path"] / name).resolve() == FOLDER.resolve()
    assert calls["metadata"] == {"version": version("integer-pilot")}
