"""The one error that a user is meant to read."""


class InputError(ValueError):
    """Bad input, said in one line: what, where, allowed range, remedy.

    The command line prints the text and exits with code 2; a notebook sees an
    ordinary exception.
    """
