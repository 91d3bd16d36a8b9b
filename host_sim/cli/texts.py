"""Writing generated text files into a folder, and saying what was written."""

from collections.abc import Mapping
from pathlib import Path

from host_sim.cli.options import print_json
from host_sim.show.files import make_folder, write_whole


def write_texts(folder: Path, texts: Mapping[str, str], *, as_json: bool) -> None:
    """Write each text whole into the folder, then list the files.

    Raises
    ------
    InputError
        The folder cannot be made or written to.
    """
    make_folder(folder)
    for name, text in texts.items():
        _write(folder / name, text)
    sizes = {str(folder / name): len(text.encode()) for name, text in texts.items()}
    if as_json:
        files = [{"file": file, "size_bytes": size} for file, size in sizes.items()]
        print_json({"files": files})
        return
    for file, size in sizes.items():
        print(f"{file}: {size} bytes")


def _write(path: Path, text: str) -> None:
    write_whole(
        path, lambda beside: beside.write_text(text, encoding="utf-8", newline="\n")
    )
