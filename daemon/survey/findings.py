"""What a survey means for the watch: what can be worked out, what cannot, and what to change on board to mend that.

One small function for each question. Each looks at what was counted and answers with findings; none knows of another.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from enum import StrEnum
from typing import TYPE_CHECKING

from msgspec import Struct

from daemon import words
from daemon.feeds.face import Counters
from daemon.survey.compare import Comparison

if TYPE_CHECKING:
    from daemon.survey.survey import Survey


class Grade(StrEnum):
    """How much of a thing can be worked out, or that something is wrong."""

    CAN = "can"  # this can be worked out
    LIMITED = "limited"  # it can, but not as well as it could be
    CANNOT = "cannot"
    FAULT = "fault"  # something on board or in the settings is wrong


class Finding(Struct, frozen=True, kw_only=True):
    """One answer. `mend` is what to change on board or in the settings; empty where nothing needs mending."""

    grade: Grade
    subject: str
    text: str
    mend: str = ""


SLOW_TARGETS_S = 6.0
SLOW_HEADING_HZ = 0.9
MANY_REFUSED = 0.02
CLOCK_APART_S = 2.0


def findings(
    survey: "Survey",
    comparisons: Sequence[Comparison],
    accounts: Mapping[str, Counters],
    troubles: Mapping[str, str],
    offset_s: float | None,
) -> list[Finding]:
    """All findings, in the order in which a person asks the questions."""
    if not any(feed.accepted + feed.refused.total() for feed in survey.feeds.values()):
        nothing = Finding(grade=Grade.CANNOT, subject="anything", text="not one line came; mend what is wrong first")
        return [nothing, *_feed_faults(survey, accounts, troubles)]
    found: list[Finding] = []
    for question in _QUESTIONS:
        found += question(survey)
    found += _disagreements(comparisons)
    found += _feed_faults(survey, accounts, troubles)
    found += _clock(offset_s)
    return found


def _targets(survey: "Survey") -> Iterator[Finding]:
    targets = survey.sources.targets
    if not targets.reports and not survey.sources.of("AIS positions"):
        marks = survey.sources.of("radar settings")
        yield Finding(
            grade=Grade.CANNOT,
            subject="CPA and TCPA",
            text="no tracked targets and no AIS came" + ("; EBL and VRM readings make manual plots" if marks else ""),
            mend="switch on the output of tracked targets (TTM, or TTD) in the radar's interface menu, and acquire one",
        )
        return
    if not targets.reports:
        yield Finding(
            grade=Grade.LIMITED,
            subject="CPA and TCPA",
            text="AIS targets only: nothing of what carries no AIS",
            mend="switch on the output of tracked targets (TTM, or TTD) in the radar's interface menu",
        )
        return
    interval_s = targets.interval_s
    pace = f", each every {interval_s:.1f} s" if interval_s is not None else ""
    yield Finding(
        grade=Grade.CAN,
        subject="CPA and TCPA",
        text=f"{words.several(targets.numbers, 'target number')}, {words.several(targets.reports, 'report')}{pace}",
    )
    if interval_s is not None and interval_s > SLOW_TARGETS_S:
        yield Finding(
            grade=Grade.LIMITED,
            subject="CPA and TCPA",
            text=f"a report of each target only every {interval_s:.0f} s: tracks take longer to settle",
            mend="raise the output rate or the baud rate of the radar's port (38400, not 4800), or send less else",
        )
    if targets.without_range:
        yield Finding(
            grade=Grade.LIMITED,
            subject="CPA and TCPA",
            text=f"{targets.without_range} of {targets.reports} reports had no range or no bearing and are of no use",
        )


def _bearings(survey: "Survey") -> Iterator[Finding]:
    sources, targets = survey.sources, survey.sources.targets
    headings = sources.of("true heading")
    magnetic = sources.of("magnetic heading")
    course = sources.of("course and speed over ground")
    if headings:
        yield Finding(grade=Grade.CAN, subject="true bearings", text=f"true heading from {', '.join(headings[:4])}")
    elif magnetic and sources.of("variation"):
        yield Finding(
            grade=Grade.CAN, subject="true bearings", text=f"magnetic heading from {magnetic[0]}, variation is sent"
        )
    elif magnetic:
        yield Finding(
            grade=Grade.LIMITED,
            subject="true bearings",
            text=f"magnetic heading from {magnetic[0]}, but nobody sends the variation",
            mend="let the GNSS receiver send RMC with variation, or set own_ship.variation_deg",
        )
    elif course:
        yield Finding(
            grade=Grade.LIMITED,
            subject="true bearings",
            text=f"no heading sensor: course over ground from {course[0]} stands in, wrong by leeway and by yaw",
            mend="connect a heading sensor (HDT or THS, ten a second if it can)",
        )
    else:
        needs = targets.relative > 0
        yield Finding(
            grade=Grade.CANNOT,
            subject="true bearings",
            text="neither heading nor course" + (": relative bearings cannot be made true" if needs else ""),
            mend="connect a heading sensor (HDT or THS), or at least a GNSS receiver (RMC)",
        )
    rate = sources.rate_hz("true heading") or sources.rate_hz("magnetic heading")
    if rate is not None and rate < SLOW_HEADING_HZ and targets.relative:
        yield Finding(
            grade=Grade.LIMITED,
            subject="true bearings",
            text=f"bearings are relative, and heading comes {rate:.1f} times a second: yawing spreads them",
            mend="raise the heading sensor's rate to 5 or 10 a second",
        )


def _motion(survey: "Survey") -> Iterator[Finding]:
    sources = survey.sources
    ground = sources.of("course and speed over ground")
    water = sources.of("speed through the water")
    if ground:
        yield Finding(
            grade=Grade.CAN, subject="true motion of targets", text=f"own motion over ground from {ground[0]}"
        )
    elif water and (sources.of("true heading") or sources.of("magnetic heading")):
        yield Finding(
            grade=Grade.LIMITED,
            subject="true motion of targets",
            text=f"through the water only ({water[0]} with heading): set and drift stay unknown",
            mend="connect a GNSS receiver (RMC or VTG)",
        )
    else:
        yield Finding(
            grade=Grade.CANNOT,
            subject="true motion of targets",
            text="own motion is not known: CPA and TCPA are right, courses, speeds and kinds of encounter are not told",
            mend="connect a GNSS receiver (RMC or VTG)",
        )
    if not water:
        yield Finding(
            grade=Grade.LIMITED,
            subject="set and drift",
            text="no speed through the water: a set that works with water speed cannot be told from a wrong one",
            mend="connect the log (VHW or VBW)",
        )


def _position(survey: "Survey") -> Iterator[Finding]:
    found = survey.sources.of("position")
    if found:
        yield Finding(grade=Grade.CAN, subject="positions and exported tracks", text=f"position from {found[0]}")
    else:
        yield Finding(
            grade=Grade.CANNOT,
            subject="positions and exported tracks",
            text="own position is not known: tracks are relative to own ship",
            mend="connect a GNSS receiver (RMC, GGA or GNS)",
        )


def _picture(survey: "Survey") -> Iterator[Finding]:
    if survey.sources.of("radar settings"):
        yield Finding(
            grade=Grade.CAN, subject="picture changes", text="the radar tells its range scale and marks (RSD)"
        )
    elif survey.sources.targets.reports:
        yield Finding(
            grade=Grade.CANNOT,
            subject="picture changes",
            text="no RSD: changes of range scale, EBL and VRM are not known",
            mend="switch on RSD in the radar's interface menu",
        )


def _crosscheck(survey: "Survey") -> Iterator[Finding]:
    targets = survey.sources.targets
    if targets.with_cpa:
        yield Finding(
            grade=Grade.CAN,
            subject="cross-check against the set",
            text=f"{targets.with_cpa} of {targets.reports} reports carry the set's own CPA",
        )
    elif targets.reports:
        yield Finding(
            grade=Grade.CANNOT, subject="cross-check against the set", text="the set sends no CPA and TCPA of its own"
        )


_QUESTIONS: tuple[Callable[["Survey"], Iterator[Finding]], ...] = (
    _targets,
    _bearings,
    _motion,
    _position,
    _picture,
    _crosscheck,
)


def _disagreements(comparisons: Sequence[Comparison]) -> Iterator[Finding]:
    for one in comparisons:
        if one.disagrees:
            yield Finding(
                grade=Grade.FAULT,
                subject=f"{one.quantity}: sources disagree",
                text=f"{one.first} and {one.second} differ by {one.mean:.2f} {one.unit} on average,"
                f" {one.greatest:.2f} {one.unit} at most, over {one.times} comparisons",
                mend="find out which is right (alignment, deviation, antenna place, an old fix) and name it first",
            )


def _feed_faults(survey: "Survey", accounts: Mapping[str, Counters], troubles: Mapping[str, str]) -> Iterator[Finding]:
    for name, feed in sorted(survey.feeds.items()):
        subject = f"feed {name}"
        account = accounts.get(name, Counters())
        total = feed.accepted + feed.refused.total()
        if troubles.get(name):
            yield Finding(grade=Grade.FAULT, subject=subject, text=troubles[name])
        elif not total:
            yield Finding(
                grade=Grade.FAULT,
                subject=subject,
                text="not one line came",
                mend="look at the cable (A and B swapped?), the port or address, and whether the sender is on",
            )
        if feed.refused.total() > MANY_REFUSED * total:
            worst, times = feed.refused.most_common(1)[0]
            yield Finding(
                grade=Grade.FAULT,
                subject=subject,
                text=f"{feed.refused.total() / total:.1%} of {total} lines refused, most of them: {worst} ({times})",
                mend=_MENDS.get(worst, "look at the example lines"),
            )
        yield from _loss(subject, account)
        if survey.copies(name):
            yield Finding(
                grade=Grade.LIMITED,
                subject=subject,
                text=f"{survey.copies(name)} sentences are copies of what another feed brings; each is taken once",
            )
        for _, seconds in feed.gaps[:1]:
            number = len(feed.gaps) + feed.gaps_beyond
            yield Finding(
                grade=Grade.FAULT,
                subject=subject,
                text=f"{words.several(number, 'pause')} of over 10 s without any line, the first of {seconds:.0f} s",
                mend="look at the power and the plugs of the sender",
            )


_MENDS = {
    "checksum wrong": "noise, a loose plug, two talkers on one line, or a line that is too long or not twisted",
    "checksum missing": "old equipment: take its sentences without checksum with feeds.NAME.checksum = false",
    "no sentence": "a wrong baud rate, or something else than NMEA 0183 on this line",
}


def _loss(subject: str, account: Counters) -> Iterator[Finding]:
    if account.kernel_drops or account.dropped.total():
        yield Finding(
            grade=Grade.FAULT,
            subject=subject,
            text=f"{account.kernel_drops} datagrams dropped by the kernel, {account.dropped.total()} lines here",
            mend="this machine is too slow or too busy for this traffic",
        )
    if account.lost_by_source:
        worst, times = account.lost_by_source.most_common(1)[0]
        yield Finding(
            grade=Grade.FAULT,
            subject=subject,
            text=f"line numbers are missing: {account.lost_by_source.total()} lines lost, of {worst} alone {times}",
            mend="look at the network: a switch, a cable, a sender that is overloaded",
        )
    for reason in ("sender not allowed", "sender over its rate cap"):
        if account.bytes_discarded[reason]:
            yield Finding(
                grade=Grade.FAULT,
                subject=subject,
                text=f"{account.bytes_discarded[reason]} bytes discarded: {reason}",
                mend="find out who sends; see from= and cap= of this feed",
            )


def _span(seconds: float) -> str:
    for length_s, unit in ((86_400.0, "days"), (3600.0, "h"), (60.0, "min")):
        if seconds >= 2 * length_s:
            return f"{seconds / length_s:.0f} {unit}"
    return f"{seconds:.1f} s"


def _clock(offset_s: float | None) -> Iterator[Finding]:
    if offset_s is None:
        yield Finding(
            grade=Grade.LIMITED,
            subject="time",
            text="no date and time from any instrument: labels are by this computer's clock",
            mend="let the GNSS receiver send RMC or ZDA",
        )
    elif abs(offset_s) > CLOCK_APART_S:
        side = "ahead of" if offset_s > 0 else "behind"
        yield Finding(
            grade=Grade.FAULT,
            subject="time",
            text=f"the instruments' time is {_span(abs(offset_s))} {side} the lines'",
            mend="set this computer's clock; ages and motion do not depend on it, labels do",
        )
    else:
        yield Finding(grade=Grade.CAN, subject="time", text=f"instruments and lines agree within {abs(offset_s):.1f} s")
