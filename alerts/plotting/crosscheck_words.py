"""What the cross-check says: sentences for a skipper, with the evidence. Figures stand still unless they move."""

from alerts.plotting.crosscheck_common import Kind, Leg, Reading, heading_fault_deg

SET_ACQUIRING = "the set is still acquiring it: its course, speed, CPA and TCPA mean nothing yet"
SET_LOST = "the set has lost it: its course, speed, CPA and TCPA mean nothing"
SET_SETTLING = "the set has tracked it for less than 3 min: its course and speed are still settling"
WE_SETTLE = "our own plot of it has not settled yet"
TARGET_ALTERED = "the target altered course or speed within the last 3 min: the set's answer lags"
WE_ALTERED = "we altered course or speed within the last 3 min: the set's answer lags"
NOTHING_REPORTED = "the set gives no usable course and speed, nor CPA and TCPA"
NOTHING_COMMON = "the set's course and speed cannot be compared: our own motion is not known"
NOT_COMPARED = "not compared for long enough to say that it agrees"
LOOKED_INTO = "it differs, and is being looked into: 20 s decide"
RENUMBERED = "the number has moved to another vessel within the last 3 min"

NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")


class Steady:
    """A figure as it is shown: moves only when the value is off by more than the slack."""

    def __init__(self, slack: float, digits: int = 1, full_circle: bool = False) -> None:
        self._slack, self._digits, self._full_circle = slack, digits, full_circle
        self._shown: float | None = None

    def show(self, value: float) -> float:
        off = 0.0 if self._shown is None else value - self._shown
        if self._full_circle:
            off = (off + 180) % 360 - 180
        if self._shown is None or abs(off) > self._slack:
            self._shown = round(value % 360 if self._full_circle else value, self._digits)
        return self._shown


def stale(seconds: float) -> str:
    """In steps, so that the sentence does not change with every report."""
    steps = ("20 s", 20), ("1 min", 60), ("3 min", 180), ("10 min", 600)
    longest = [word for word, least in steps if seconds >= least] or ["some scans"]
    return f"the set has repeated the same measurement under new times for more than {longest[-1]}"


def frozen(seconds: float) -> str:
    least = "3 min" if seconds >= 180 else "1 min"
    return f"the set's own figures have not changed for more than {least}, though the target moves"


def so_many(count: int, total: int) -> str:
    word = NUMBERS[count] if count < len(NUMBERS) else str(count)
    of = NUMBERS[total] if total < len(NUMBERS) else str(total)
    if count < total:
        return f"{word} of {of} targets'"
    return "both targets'" if total == 2 else f"all {word} targets'"


def shared(count: int, total: int, size_kn: float, toward_deg: float) -> str:
    """The evidence of a common vector."""
    return (
        f"{so_many(count, total)} reported motion differs from ours "
        f"by the same {size_kn:.1f} kn toward {toward_deg:03.0f}°T"
    )


def because(kind: Kind, leg: Leg, along_kn: float, turn_deg: float, stream_known: bool) -> str:
    """What the common vector comes from, after 'differs ...: '."""
    if kind is Kind.WATER:
        return _water(leg, stream_known)
    if kind is Kind.SPEED_INPUT:
        much = "high" if along_kn > 0 else "low"
        words = f"along our heading: the set's speed input looks {abs(along_kn):.1f} kn too {much}"
        return words if stream_known else words + ", or it reports motion through the water"
    if kind is Kind.HEADING_INPUT:
        side = "high" if turn_deg > 0 else "low"
        words = f"across our course: the set's heading input looks {abs(turn_deg):.0f}° too {side}"
        return words if stream_known else words + ", or it reports motion through the water"
    words = "the set's speed or heading input looks wrong"
    return words if stream_known else words + ", or it reports motion through the water"


def _water(leg: Leg, stream_known: bool) -> str:
    if stream_known and leg.stream is not None:
        return "the opposite of the stream that our log and compass show: it reports motion through the water"
    return "on each of our courses: it reports motion through the water"


def heading_fault(leg: Leg) -> float:
    return heading_fault_deg(leg) or 0.0


def misread(reading: Reading, count: int, total: int) -> str:
    owner = so_many(count, total) if total > 1 else "the target's"
    return f"{owner} reported motion agrees with ours only if read otherwise: {reading}"


def through_water(count: int, total: int, size_kn: float, toward_deg: float) -> str:
    """Our own frame is the water, for want of motion over the ground."""
    return (
        shared(count, total, size_kn, toward_deg)
        + ": ours is motion through the water, the set's seems to be over the ground"
    )


def alone(size_kn: float, toward_deg: float, others: int) -> str:
    """One target's own fault."""
    words = f"its reported motion differs from ours by {size_kn:.1f} kn toward {toward_deg:03.0f}°T"
    if others:
        count = NUMBERS[others] if others < len(NUMBERS) else str(others)
        rest = "the other target agrees" if others == 1 else f"the other {count} targets agree"
        words += f", while {rest}"
    return words + ": the set may be following another echo under its number"


def takes_for(other: str) -> str:
    return f"the set gives it the motion of {other}: it may have exchanged the two"


def passing(cpa: tuple[float, float] | None, tcpa: tuple[float, float] | None) -> str:
    """CPA or TCPA alone differ: (the set's, ours). None: not reported, or no difference."""
    parts = [] if cpa or tcpa else ["CPA and TCPA differed"]
    if cpa is not None:
        parts.append(f"CPA is {cpa[0]:.1f} NM by the set and {cpa[1]:.1f} NM by ours")
    if tcpa is not None:
        parts.append(f"TCPA is {tcpa[0]:.0f} min by the set and {tcpa[1]:.0f} min by ours")
    return " and ".join(parts) + ", though course and speed agree"
