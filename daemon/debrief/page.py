"""The debrief as one HTML file that needs nothing else."""

from collections import Counter
from collections.abc import Iterator, Sequence
from html import escape
from importlib.resources import files
from statistics import fmean

from msgspec import Struct

from alerts.plotting.terms import PairState, Priority
from daemon import words
from daemon.debrief import cards, figures
from daemon.debrief.cards import called, said
from daemon.debrief.plane import Plane, unbroken
from daemon.debrief.playback import playback
from daemon.debrief.record import Dated, Passage, Record, Tracked
from daemon.debrief.steadiness import Steadiness, changes, steadiness
from daemon.debrief.study import Alteration, Span, Study, own_turns, spans_of, study, worst
from daemon.pictures.drawing import thinned
from daemon.pictures.paper import paper, table

WITHIN_NM = 2.0
MOST_CARDS = 60
# The table of all targets and the track plot stay usable with hundreds; names stand only at those with cards.
MOST_LISTED = 1500
# Play-back moves at most so many.
MOST_PLAYED = 40
# The rules on own sensors, without their `_lost`.
SENSORS = ("heading", "position", "speed")


class Shape(Struct, frozen=True, kw_only=True):
    """What the debrief is to hold: full cards for encounters within a range, so many of them at most."""

    title: str = "Passage debrief"
    within_nm: float = WITHIN_NM
    most_cards: int = MOST_CARDS


class Debrief:
    """Everything that is worked out from a record, target by target, before it is written down."""

    def __init__(self, record: Record, shape: Shape) -> None:
        self.shape = shape
        self.passage = record.passage
        self.plane = Plane(self.passage.own)
        self.turns: list[Alteration] = own_turns(self.passage.own)
        self.spans: tuple[Span, ...] = spans_of(self.passage.alerts)
        self.studies: list[Study] = []
        self.echoes: dict[str, Steadiness] = {}
        self.tracks: dict[str, list[list[tuple[float, float]]]] = {}
        chosen = self._chosen()
        for tracked in self.passage.targets:
            plots = record.plots(tracked.target)
            self.echoes[tracked.target] = steadiness(tracked.target, plots, self.plane)
            self.tracks[tracked.target] = self._over_ground(plots)
            if tracked.target in chosen:
                self.studies.append(study(tracked, plots, self.passage, self.plane, self.turns))
        self.studies.sort(key=_urgency)

    def _chosen(self) -> set[str]:
        """The targets that get a full card: within the range, or with a closest-approach alarm; the nearest first."""
        alarmed = {span.alert.target for span in self.spans if span.alert.priority is Priority.ALARM}
        near = [one for one in self.passage.targets if one.closest_nm <= self.shape.within_nm or one.target in alarmed]
        near.sort(key=lambda one: (one.target not in alarmed, one.closest_nm))
        return {one.target for one in near[: self.shape.most_cards]}

    def _over_ground(self, plots: Sequence[Dated]) -> list[list[tuple[float, float]]]:
        """Places over the ground, the mean of each quarter minute: a plot's own scatter is not the target's way.

        In pieces: no line is drawn through a minute and more in which nobody saw her.
        """
        together: dict[int, list[tuple[float, float]]] = {}
        for at_s, plot in plots:
            if plot.bearing_deg is None:
                continue
            place = self.plane.target_at(at_s, plot.range_nm, plot.bearing_deg)
            if place is not None:
                together.setdefault(int(at_s // 15), []).append(place)
        means = [
            (15.0 * quarter, fmean(e for e, _ in some), fmean(n for _, n in some)) for quarter, some in together.items()
        ]
        return [thinned(piece, 0.005) for piece in unbroken(means)]


def _urgency(one: Study) -> tuple[bool, float]:
    return (one.alarm is None, one.closest.range_nm)


def page(debrief: Debrief) -> str:
    """The whole file."""
    root = files("daemon.debrief")
    script = (root / "page.js").read_text(encoding="utf-8")
    rules = (root / "page.css").read_text(encoding="utf-8")
    title = said(debrief.shape.title, 120)
    return paper(title, "".join(_sections(debrief, title)), rules, script, bool(debrief.studies))


def _sections(debrief: Debrief, title: str) -> Iterator[str]:
    yield f"<header><h1>{title}</h1>{_cautions()}</header><main>"
    yield f'<section id="passage"><h2>The passage</h2><p>{summary(debrief)}</p></section>'
    yield _track_section(debrief)
    yield _timeline_section(debrief)
    if debrief.studies:
        played = sorted(debrief.studies, key=_urgency)[:MOST_PLAYED]
        yield (
            '<section id="play"><h2>Play-back of the relative picture</h2><p class="small">North up, own ship in the '
            'middle. <span class="screen">Move the slider (arrow keys too), or press Play.</span></p>'
            f"{playback(debrief.passage, played)}</section>"
        )
    yield _cards_section(debrief)
    yield _targets_section(debrief)
    yield _quality_section(debrief)
    yield f"</main>{_foot(debrief)}"


def _cautions() -> str:
    return f'<div class="cautions" role="note">{"".join(f"<p>{escape(one)}</p>" for one in words.CAUTIONS)}</div>'


def summary(debrief: Debrief) -> str:
    """The passage in a paragraph."""
    passage = debrief.passage
    minutes = (passage.last_s - passage.first_s) / 60.0
    counts = Counter(span.alert.priority for span in debrief.spans)
    alerts = ", ".join(words.several(counts[one], one) for one in Priority if counts[one])
    parts = [
        f"{_day(passage.first_s)}, {figures.hours(passage.first_s)} to {figures.hours(passage.last_s)} UTC "
        f"({words.minutes(minutes) if minutes < 180 else f'{minutes / 60:.1f} h'}).",
        _own_words(debrief),
        f"{words.several(len(passage.targets), 'target')} tracked; {alerts or 'no alert'} raised.",
    ]
    nearest = min(debrief.studies, key=lambda one: one.closest.range_nm, default=None)
    if nearest is not None:
        parts.append(
            f"{called(nearest.target, nearest.name)} came nearest: {words.miles(nearest.closest.range_nm)} at "
            f"{figures.hours(nearest.closest.at_s)}."
        )
    faults = figures.feed_faults(passage)
    parts.append(f"Feeds failed {words.several(len(faults), 'time')}." if faults else "No feed failed.")
    parts += _sensors_lost(debrief)
    lost = sum(events for _, _, events in passage.gaps)
    parts += (
        [f"The archive lost {words.several(lost, 'event')} in {words.several(len(passage.gaps), 'gap')}."]
        if lost
        else []
    )
    return " ".join(parts)


def _sensors_lost(debrief: Debrief) -> list[str]:
    """Own ship's sensors that were silent: what was worked out meanwhile rests on less."""
    told = Counter(span.alert.rule for span in debrief.spans)
    lost = [f"{sensor} {words.several(told[f'{sensor}_lost'], 'time')}" for sensor in SENSORS if told[f"{sensor}_lost"]]
    return [f"Own ship's sensors without data: {', '.join(lost)}."] if lost else []


def _day(at_s: float) -> str:
    from alerts.events import Instant

    return words.date(Instant(round(at_s * 1000)))


def _own_words(debrief: Debrief) -> str:
    track = debrief.plane.track
    if not track:
        return "Own position is not in the record."
    run = sum(
        ((e1 - e0) ** 2 + (n1 - n0) ** 2) ** 0.5
        for (_, e0, n0), (_, e1, n1) in zip(track[:-1:10], track[10::10], strict=False)
    )
    first = next(ship for _, ship in debrief.passage.own if ship.lat_deg is not None)
    place = f"{words.latitude(first.lat_deg)} {words.longitude(first.lon_deg)}"
    turns = len(debrief.turns)
    altered = "no alteration of course or speed" if not turns else words.several(turns, "alteration")
    return f"Own ship ran {run:.1f} NM from {place}, with {altered}."


def _track_section(debrief: Debrief) -> str:
    if not len(debrief.plane):
        return '<section id="tracks"><h2>Tracks</h2><p>Own position is not in the record: no track plot.</p></section>'
    carded = {one.target: one for one in debrief.studies}
    named = set(list(carded)[:20])
    tracks = [
        ((words.clean(carded[key].name, 24) or key) if key in named else "", pieces)
        for key, pieces in debrief.tracks.items()
        if pieces
    ]
    drawing = figures.track_plot(debrief.plane, tracks)
    return (
        '<section id="tracks"><h2>Tracks over the ground</h2>'
        f"<figure>{drawing.svg()}<figcaption>True motion, no chart. Own ship with times and her name; targets with "
        "cards in colour, named at their end; the others grey. A line breaks "
        "where nothing was seen for a minute.</figcaption></figure></section>"
    )


def _timeline_section(debrief: Debrief) -> str:
    passage = debrief.passage
    drawing = figures.timeline(passage, debrief.spans, debrief.turns)
    happened = [(span.raised_s, cards.span_words(span)) for span in debrief.spans]
    happened += [(at_s, f"note: {said(note.text)}") for at_s, note in passage.notes]
    happened += [(at_s, f"range scale {words.DASH if one.range_scale_nm is None else f'{one.range_scale_nm:g}'} NM, "
                  f"{one.orientation or 'orientation not given'}") for at_s, one in passage.radar]  # fmt: skip
    happened += _pairs_told(passage)
    happened += [(turn.at_s, f"{turn.who} alters about now") for turn in debrief.turns]
    happened += [(from_s, said(text)) for from_s, _, text in figures.feed_faults(passage)]
    rows = [[figures.seconds(at_s), text] for at_s, text in sorted(happened)[:MOST_LISTED]]
    more = f"<p>The first {MOST_LISTED} of {len(happened)}.</p>" if len(happened) > MOST_LISTED else ""
    return (
        f'<section id="timeline"><h2>Timeline</h2><figure>{drawing.svg()}<figcaption>Bars: an alert from its coming '
        "to its end, thick for an alarm, half as thick for a warning, thin for a caution; a feed while it failed. "
        "Dots: when it happened.</figcaption></figure>"
        f"<details><summary>The same as a list ({len(happened)} entries)</summary>{table(('UTC', 'what'), rows)}{more}"
        "</details></section>"
    )


def _pairs_told(passage: Passage) -> Iterator[tuple[float, str]]:
    """Each joining and parting; not each time that the other track of the two speaks for the vessel."""
    joined: set[tuple[str, str]] = set()
    for at_s, pair in passage.pairs:
        both, who = (pair.target, pair.ais), f"{called(pair.target, pair.name)} and {said(pair.ais)}"
        if pair.state is PairState.PARTED:
            joined.discard(both)
            yield at_s, f"{who} are no longer taken for one vessel: {said(pair.why)}"
        elif both not in joined:
            joined.add(both)
            yield at_s, f"{who} are taken for one vessel"


def _cards_section(debrief: Debrief) -> str:
    shape = debrief.shape
    near = sum(one.closest_nm <= shape.within_nm for one in debrief.passage.targets)
    told = f"Full cards for targets that came within {shape.within_nm:g} NM or raised an alarm"
    told += (
        f": the {len(debrief.studies)} most urgent of {near}."
        if near > len(debrief.studies)
        else f": {len(debrief.studies)}."
    )
    body = "".join(cards.card(one, debrief.echoes[one.target], debrief.passage) for one in debrief.studies)
    return f'<section id="encounters"><h2>Encounters</h2><p class="small">{told}</p>{body}</section>'


def _targets_section(debrief: Debrief) -> str:
    carded = {one.target for one in debrief.studies}
    ordered = sorted(debrief.passage.targets, key=lambda one: one.closest_nm)
    rows = [_target_row(one, debrief, one.target in carded) for one in ordered[:MOST_LISTED]]
    heads = ("target", "closest plot", "at, UTC", "seen from", "to", "plots", "reports", "scatter", "worst alert")
    kind = ' id="all-targets"'
    return f'<section id="targets"><h2>All targets</h2>{table(heads, rows, kind)}</section>'


def _target_row(one: Tracked, debrief: Debrief, linked: bool) -> list[str]:
    echo = debrief.echoes[one.target]
    name = called(one.target, one.name)
    spans = [span for span in debrief.spans if span.alert.target == one.target]
    return [
        f'<a href="#{cards.anchor(one.target)}">{name}</a>' if linked else name,
        words.miles(one.closest_nm),
        figures.seconds(one.closest_s),
        figures.hours(one.first_s),
        figures.hours(one.last_s),
        str(one.plots),
        words.percent(echo.received / echo.expected),
        words.scatter(echo.scatter.range_m, echo.scatter.bearing_deg),
        worst(spans) or words.DASH,
    ]


def _quality_section(debrief: Debrief) -> str:
    echoes = list(debrief.echoes.values())
    expected, received = sum(one.expected for one in echoes), sum(one.received for one in echoes)
    losses = sum(len(one.losses) for one in echoes)
    share = words.percent(received / expected) if expected else words.DASH
    told = f"Of {expected} reports due over all targets, {received} came ({share}); "
    told += f"lost for a while: {words.several(losses, 'time')}."
    found = changes(debrief.passage, echoes)
    rows = [
        [
            figures.seconds(one.at_s),
            said(one.what),
            *(f"{side.received} of {side.expected}" for side in (one.before, one.after)),
            *(_scatter(side.scatter.range_m, side.scatter.bearing_deg) for side in (one.before, one.after)),
            ", ".join(said(target, 30) for target in one.lost) or "none",
        ]
        for one in found[:200]
    ]
    heads = ("UTC", "change", "reports before", "after", "scatter before", "after", "lost within a minute")
    body = table(heads, rows) if rows else "<p>No note and no range change in the record.</p>"
    return (
        f'<section id="quality"><h2>The picture\'s quality</h2><p>{told}</p><p class="small">Three minutes before and '
        f"after each note and range change. A difference may be chance, or the sea's.</p>{body}</section>"
    )


def _scatter(range_m: float | None, bearing_deg: float | None) -> str:
    return words.DASH if range_m is None or bearing_deg is None else f"{range_m:.0f} m, {bearing_deg:.2f}°"


def _foot(debrief: Debrief) -> str:
    source = ", ".join(said(one, 120) for one in debrief.passage.source.splitlines()[:20])
    return (
        f'<footer class="small"><h2>About this debrief</h2><p>Made from {source} '
        f"by {said(debrief.passage.program, 60)}. "
        "Closest approaches are those of the track smoothed with hindsight. CPA and TCPA are the "
        "program's own, worked out from ranges and bearings alone as the passage went; 'the set's' are what the set "
        "reported. Times are UTC from the data.</p></footer>"
    )
