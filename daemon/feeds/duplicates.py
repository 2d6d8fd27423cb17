"""The same sentence by two feeds is taken once.

A vessel's sentences often come twice: by a serial line of their own and again through a multiplexer. Each occurrence of
a text is taken from whichever feed brings it first; the others' copies of that occurrence, within WINDOW_S, are
duplicates. A feed that repeats its own text (a steady heading, ten times a second) is never a duplicate of itself, and
when the first feed dies the second one's next sentence is taken at once.
"""

from collections import OrderedDict

WINDOW_S = 2.0
"""A sentence queues for at most about a second on a 4800 baud line that is full (480 characters a second)."""

MOST = 4096
"""Texts remembered: three seconds' worth at the rated load. Beyond it the oldest are forgotten."""


class Duplicates:
    """Bounded; time is the stream's own, so that a replay decides as the watch did."""

    def __init__(self, window_s: float = WINDOW_S, most: int = MOST) -> None:
        self._window_s = window_s
        self._most = most
        self._seen: OrderedDict[str, tuple[float, frozenset[str]]] = OrderedDict()

    def __len__(self) -> int:
        return len(self._seen)

    def is_duplicate(self, feed: str, text: str, at_s: float) -> bool:
        """Whether this sentence (without its TAG block) is a copy of one that another feed has just brought."""
        occurrence = self._seen.get(text)
        if occurrence is not None:
            since_s, feeds = occurrence
            if feed not in feeds and at_s - since_s <= self._window_s:
                self._seen[text] = (since_s, feeds | {feed})
                return True
            del self._seen[text]
        self._seen[text] = (at_s, frozenset((feed,)))
        self._forget(at_s)
        return False

    def _forget(self, at_s: float) -> None:
        """The oldest stand first: those that are past their window go, and any beyond the bound."""
        while self._seen:
            text, (since_s, _) = next(iter(self._seen.items()))
            if len(self._seen) <= self._most and at_s - since_s <= self._window_s:
                return
            del self._seen[text]
