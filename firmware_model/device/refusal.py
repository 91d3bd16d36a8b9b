"""What a console's command raises instead of being done."""


class Refusal(Exception):  # noqa: N818 (what it is, not an error of ours)
    """A number of SCPI-99 and what there is to say beside it."""

    def __init__(self, error: int, detail: str = "") -> None:
        self.error = int(error)
        self.detail = detail
