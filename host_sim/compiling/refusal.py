"""What straight code does not have is refused, with its place, never guessed."""

import ast


class RefusedError(Exception):
    """A construct that straight code does not have.

    Parameters
    ----------
    why : str
    place : str
        File, line and text; empty until the statement is known.
    """

    def __init__(self, why: str, place: str = "") -> None:
        super().__init__(f"{place}: {why}" if place else why)
        self.why = why
        self.place = place

    def at(self, file: str, node: ast.stmt | ast.expr) -> "RefusedError":
        """Say where, unless something inside has said so more exactly."""
        if self.place:
            return self
        text = ast.unparse(node).splitlines()[0]
        place = f"{file}:{node.lineno}: no straight code for `{text}`"
        return RefusedError(self.why, place)
