"""Errors that a person can mend: one or two lines, an exit code, no traceback."""

WRONG_USAGE = 2
CANNOT_OPEN = 3


class UserError(Exception):
    """A mistake in usage or configuration (code 2), or an input or output that cannot be opened or read (code 3).

    The text names the file, line or key, and the mend.
    """

    def __init__(self, text: str, code: int = WRONG_USAGE) -> None:
        super().__init__(text)
        self.code = code
