"""One key's value: read by its kind, held against its allowed range."""

import re
from typing import Any

from host_sim.scenario.refusal import refusal
from host_sim.scenario.schema import Choices, Key, Pairs
from host_sim.scenario.units import KINDS, Basis, parse

ROUNDING = 1e-12

_ALLOWED = re.compile(r"(\S+) \.\.\. (\S+) ?(.*)")


def read_key(key: Key, said: object, where: str, basis: Basis) -> Any:  # noqa: ANN401
    """Read what stands at a key: quantity, word, flag, text or pairs.

    Parameters
    ----------
    key : Key
        Kind and allowed range.
    said : object
        What the TOML library found there.
    where : str
        File and key path.
    basis : Basis
        What units stand on.

    Returns
    -------
    float, int, str, bool, tuple of pairs or None
        SI units; ``None`` for a word such as "none".

    Raises
    ------
    InputError
        Wrong kind, wrong unit or out of range.

    Notes
    -----
    Source: the schema.

    Examples
    --------
    >>> key = Key("volume", "volume", "1 L", "a volume", "0.1 ... 10 L")
    >>> read_key(key, "2.5 L", "press.toml: load.volume", Basis())
    0.0025
    """
    if said in key.words and isinstance(said, str):
        return None
    if isinstance(key.kind, Choices):
        return _read_word(key.kind.words, said, where)
    if isinstance(key.kind, Pairs):
        return _read_pairs(key, key.kind, said, where, basis)
    if key.kind == "whole":
        return _read_whole(key, said, where)
    wanted: type = {"text": str, "flag": bool}.get(key.kind, object)
    if not isinstance(said, wanted):
        remedy = f"write for example {key.name} = {example(key)}"
        raise refusal(where, said, f"should be a {key.kind}", remedy)
    if key.kind in {"text", "flag"}:
        return said
    return _read_quantity(key, key.kind, said, where, basis)


def example(key: Key) -> str:
    """Write a value that a key would take.

    >>> example(Key("tick", "time", "5 ms", "sampling time"))
    '"0.5 s"'
    """
    if isinstance(key.kind, Choices):
        return f'"{key.kind.words[0]}"'
    if isinstance(key.kind, Pairs):
        first, second = KINDS[key.kind.first], KINDS[key.kind.second]
        return f'[["{first.example}", "{second.example}"]]'
    others = {"text": '"a text"', "flag": "true", "whole": "1"}
    return others.get(key.kind) or f'"{KINDS[key.kind].example}"'


def _read_word(words: tuple[str, ...], said: object, where: str) -> str:
    if isinstance(said, str) and said in words:
        return said
    choices = ", ".join(f'"{word}"' for word in words)
    raise refusal(where, said, "not one of the words", f"write one of {choices}")


def _read_whole(key: Key, said: object, where: str) -> int:
    low, high = (int(bound) for bound in key.allowed.split(" ... "))
    if not isinstance(said, int) or isinstance(said, bool):
        words = "".join(f' or "{word}"' for word in key.words)
        remedy = f"write one of {key.allowed} without quotes{words}"
        raise refusal(where, said, "should be a whole number", remedy)
    if not low <= said <= high:
        why = f"outside the allowed range {key.allowed}"
        raise refusal(where, said, why, "choose a number inside it")
    return said


def _read_quantity(
    key: Key, kind: str, said: object, where: str, basis: Basis
) -> float:
    quantity = parse(said, kind, where, basis)
    found = _ALLOWED.fullmatch(key.allowed)
    if found is None:
        return quantity
    low, high = (
        parse(f"{bound} {found[3]}", kind, where, basis)
        for bound in (found[1], found[2])
    )
    # A bound written in another unit may differ from it in the last digit.
    low -= abs(low) * ROUNDING
    high += abs(high) * ROUNDING
    if not low <= quantity <= high:
        why = f"outside the allowed range {key.allowed}"
        raise refusal(where, said, why, "choose a value inside it")
    return quantity


def _read_pairs(
    key: Key, pairs: Pairs, said: object, where: str, basis: Basis
) -> tuple[tuple[float, float], ...]:
    remedy = f"write {key.name} = {example(key)}"
    if not isinstance(said, list):
        raise refusal(where, said, "should be a list of pairs", remedy)
    read: list[tuple[float, float]] = []
    for number, pair in enumerate(said, start=1):
        here = f"{where}, pair {number}"
        if not isinstance(pair, list) or len(pair) != 2:
            raise refusal(here, pair, "should be a pair", remedy)
        first = parse(pair[0], pairs.first, here, basis)
        second = _read_quantity(key, pairs.second, pair[1], here, basis)
        if first < 0.0:
            raise refusal(here, pair[0], "negative", "begin at zero or later")
        if read and first <= read[-1][0]:
            why = f"not above the {pairs.first} of the pair before"
            raise refusal(here, pair[0], why, "sort the pairs and keep each once")
        read.append((first, second))
    return tuple(read)
