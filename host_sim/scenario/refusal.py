"""One way to say that an input is bad, in one line."""

import reprlib

from host_sim.errors import InputError

_SHORTENER = reprlib.Repr()
_SHORTENER.maxstring = _SHORTENER.maxother = 60


def refusal(where: str, said: object, why: str, remedy: str) -> InputError:
    """Build the error: place, what stands there, why not, and what to do.

    Parameters
    ----------
    where : str
        File and key path, or file and row.
    said : object
        What the user wrote there; ``None`` when nothing was written.
    why, remedy : str
        What is wrong with it, and how to put it right.

    Returns
    -------
    InputError
        To be raised by the caller; its text holds no line break.

    Examples
    --------
    >>> print(refusal("press.toml: load.volume", "2.5", "no unit", "write 2.5 L"))
    press.toml: load.volume = '2.5': no unit; write 2.5 L
    """
    shown = "" if said is None else f" = {_SHORTENER.repr(said)}"
    # A quoted TOML key or a library's message may hold a line break.
    return InputError(" ".join(f"{where}{shown}: {why}; {remedy}".split()))
