"""A recording in which no line tells the time: all of it stands at one moment, and its quiet is no answer."""

from daemon.stream import Stream


def undated(stream: Stream) -> list[str]:
    """What to say where lines were used and not one told the time; else nothing. Ask it at the end of the recording."""
    moment = stream.moment
    if moment is None or moment.time.utc_ms > 0:
        return []
    return [
        "no line tells the time (TAG block, RMC, ZDA or GGA), so no motion could be worked out and no alert raised: "
        "say with --rate how many lines came a second, for example --rate 15"
    ]
