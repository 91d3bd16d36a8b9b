"""How the table of keys is read: one key, one table, and their rendering."""

from dataclasses import dataclass
from typing import Final, NamedTuple


class Same(NamedTuple):
    """A default that is another key's value."""

    path: str


class Choices(NamedTuple):
    """A word out of a list."""

    words: tuple[str, ...]


class Pairs(NamedTuple):
    """A list of pairs, each of two kinds of quantity."""

    first: str
    second: str


REQUIRED: Final = "required"
Default = str | int | bool | None | Same


@dataclass(frozen=True)
class Key:
    """One key: kind, default, allowed range and meaning.

    ``kind`` is a key of `KINDS`, "text", "flag", "whole" (a whole number), a
    `Choices` or `Pairs`. ``allowed`` is "LOW ... HIGH UNIT" for quantities and
    "LOW ... HIGH" for whole numbers. ``default`` is written as a user would;
    `REQUIRED` when there is none, ``None`` when a missing key has a meaning of
    its own. ``words`` are accepted instead of a quantity, such as "none".
    """

    name: str
    kind: str | Choices | Pairs
    default: Default
    meaning: str
    allowed: str = ""
    words: tuple[str, ...] = ()


@dataclass(frozen=True)
class Table:
    """One TOML table: its keys, and when it may stand in a file.

    An ``optional`` table may be missing whatever its keys; other tables are
    read even when missing, so their defaults count and their required keys are
    asked for. A table of one ``arrangement`` is refused in the other. A ``*``
    in ``path`` stands for a name that the user chooses.
    """

    path: str
    meaning: str
    keys: tuple[Key, ...]
    optional: bool = False
    arrangement: str = ""


class OneOf(NamedTuple):
    """Tables or keys that exclude each other."""

    paths: tuple[str, ...]
    needed: bool
    meaning: str


def join(path: str, name: str) -> str:
    """Join a table's path and a key's name.

    >>> join("", "title"), join("load", "volume")
    ('title', 'load.volume')
    """
    return f"{path}.{name}" if path else name


def keys_markdown(tables: tuple[Table, ...], groups: tuple[OneOf, ...]) -> str:
    """Render the tables of keys for the documents.

    Parameters
    ----------
    tables : tuple of Table
        The schema.
    groups : tuple of OneOf
        What excludes what.

    Returns
    -------
    str
        Markdown: one heading and one table for each TOML table.

    Notes
    -----
    Source: the schema itself.

    Examples
    --------
    >>> key = Key("tick", "time", REQUIRED, "sampling time", "0.1 ... 1000 ms")
    >>> print(keys_markdown((Table("run", "The run.", (key,)),), ()))
    ### `[run]`
    The run.
    <BLANKLINE>
    | key | kind | default | allowed | meaning |
    | --- | --- | --- | --- | --- |
    | `tick` | time | required | 0.1 ... 1000 ms | sampling time |
    """
    sections = [_table_markdown(table) for table in tables]
    if groups:
        sections.append(
            "### Either ... or\n"
            + "\n".join(
                f"- {'exactly' if group.needed else 'at most'} one of "
                f"{', '.join(f'`{path}`' for path in group.paths)}: {group.meaning}"
                for group in groups
            )
        )
    return "\n\n".join(sections)


def _table_markdown(table: Table) -> str:
    notes = ["optional"] if table.optional else []
    if table.arrangement:
        notes.append(f'arrangement "{table.arrangement}" only')
    heading = f"`[{table.path}]`" if table.path else "Top of the file"
    lines = [
        f"### {heading}" + (f" ({', '.join(notes)})" if notes else ""),
        table.meaning,
        "",
        "| key | kind | default | allowed | meaning |",
        "| --- | --- | --- | --- | --- |",
    ]
    lines += [
        f"| `{key.name}` | {_kind_text(key)} | {_default_text(key)} "
        f"| {key.allowed or '-'} | {key.meaning} |"
        for key in table.keys
    ]
    return "\n".join(lines)


def _kind_text(key: Key) -> str:
    if isinstance(key.kind, Choices):
        return ", ".join(f'"{word}"' for word in key.kind.words)
    if isinstance(key.kind, Pairs):
        text = f"list of [{key.kind.first}, {key.kind.second}]"
    else:
        text = key.kind
    return " or ".join([text, *(f'"{word}"' for word in key.words)])


def _default_text(key: Key) -> str:
    if key.default is None:
        return "see meaning"
    if isinstance(key.default, Same):
        return f"`{key.default.path}`"
    if isinstance(key.default, bool):
        return str(key.default).lower()
    return str(key.default) or "empty"
