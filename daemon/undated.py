"""A recording of which nothing could be worked out, though it holds lines: its quiet is no answer, and that is said.

Either no line was used, or no line tells the time and all of it stands at one moment.
"""

from collections import Counter

from daemon.stream import Stream
from parsers.sentence import RefusalReason


def undated(stream: Stream) -> list[str]:
    """What to say of such a recording; nothing of any other. Ask it at the end."""
    if stream.moment is None:
        return []
    counters = [feed.counters for feed in stream.feeds.values()]
    if not any(one.accepted for one in counters):
        refused = sum((one.refused for one in counters), Counter[str]())
        why = ", ".join(f"{reason} {times}" for reason, times in refused.most_common(3))
        mend = "; --no-checksum takes such lines" if refused[RefusalReason.CHECKSUM_MISSING] else ""
        return [f"no line could be used (refused: {why}); `secondplot survey` says what is in it{mend}"]
    if stream.moment.time.utc_ms > 0:
        return []
    return [
        "no line tells the time (TAG block, RMC, ZDA or GGA), so no motion could be worked out and no alert raised: "
        "say with --rate how many lines came a second, for example --rate 15"
    ]
