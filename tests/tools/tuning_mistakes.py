"""A function of the project with a mistake in its text, for one test."""

import inspect
import textwrap


def make_mistake(monkeypatch, owner, name, old, new):
    """Put another text of a function or method in its place.

    ``old`` must stand in its source exactly once.
    """
    right = inspect.unwrap(getattr(owner, name))
    text = textwrap.dedent(inspect.getsource(right))
    assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times in {name}"
    made = {}
    exec(text.replace(old, new), right.__globals__, made)
    monkeypatch.setattr(owner, name, made[name])
