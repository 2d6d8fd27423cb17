"""Where in a TOML file a key stands, so that an error can name its line. The standard parser can't say."""

import re

_HEADER = re.compile(r"^\s*\[(?P<list>\[?)\s*(?P<keys>[^\]]+?)\s*\]\]?\s*(?:#.*)?$")
_ASSIGNMENT = re.compile(r"^\s*(?P<keys>(?:\"[^\"]*\"|'[^']*'|[A-Za-z0-9_-]+|\s*\.\s*)+?)\s*=")
_KEY = re.compile(r"\"([^\"]*)\"|'([^']*)'|([A-Za-z0-9_-]+)")


def line_of(text: str, path: tuple[str, ...]) -> int | None:
    """The line (from 1) on which the key `path` is set, or where the nearest table above it begins; None if neither.

    In a path a list of tables is followed by the place in it, from 0: ("targets", "2", "speed_kn"). Values that span
    lines and hold text like a header can mislead it: it is for messages, nothing else.
    """
    table: tuple[str, ...] = ()
    lists: dict[tuple[str, ...], int] = {}  # how many tables each list of tables has so far
    nearest: tuple[int, int] | None = None  # depth, line
    for number, line in enumerate(text.splitlines(), start=1):
        if header := _HEADER.match(line):
            table = here = _table(_keys(header["keys"]), lists, begins=bool(header["list"]))
        elif assignment := _ASSIGNMENT.match(line):
            here = table + _keys(assignment["keys"])
        else:
            continue
        if here == path:
            return number
        if path[: len(here)] == here and (nearest is None or len(here) > nearest[0]):
            nearest = (len(here), number)
    return nearest[1] if nearest else None


def _table(keys: tuple[str, ...], lists: dict[tuple[str, ...], int], *, begins: bool) -> tuple[str, ...]:
    """The path of a header, with the places in the lists that it goes through. `begins`: [[so]], one more table."""
    path: tuple[str, ...] = ()
    for depth, key in enumerate(keys, start=1):
        path = (*path, key)
        if begins and depth == len(keys):
            lists[path] = lists.get(path, 0) + 1
        if path in lists:
            path = (*path, str(lists[path] - 1))
    return path


def _keys(dotted: str) -> tuple[str, ...]:
    return tuple(next(part for part in match.groups() if part is not None) for match in _KEY.finditer(dotted))
