"""Where in a TOML file a key stands, so that an error can name its line. The standard parser can't say."""

import re

_HEADER = re.compile(r"^\s*\[\[?\s*(?P<keys>[^\]]+?)\s*\]\]?\s*(?:#.*)?$")
_ASSIGNMENT = re.compile(r"^\s*(?P<keys>(?:\"[^\"]*\"|'[^']*'|[A-Za-z0-9_-]+|\s*\.\s*)+?)\s*=")
_KEY = re.compile(r"\"([^\"]*)\"|'([^']*)'|([A-Za-z0-9_-]+)")


def line_of(text: str, path: tuple[str, ...]) -> int | None:
    """The line (from 1) on which the key `path` is set, or where the nearest table above it begins; None if neither.

    Values that span lines and hold text like a header can mislead it: it is for messages, nothing else.
    """
    table: tuple[str, ...] = ()
    nearest: tuple[int, int] | None = None  # depth, line
    for number, line in enumerate(text.splitlines(), start=1):
        if header := _HEADER.match(line):
            table = _keys(header["keys"])
            here = table
        elif assignment := _ASSIGNMENT.match(line):
            here = table + _keys(assignment["keys"])
        else:
            continue
        if here == path:
            return number
        if path[: len(here)] == here and (nearest is None or len(here) > nearest[0]):
            nearest = (len(here), number)
    return nearest[1] if nearest else None


def _keys(dotted: str) -> tuple[str, ...]:
    return tuple(next(part for part in match.groups() if part is not None) for match in _KEY.finditer(dotted))
