"""Lines to observations: the one place that knows every sentence type.

A sentence type that is not in SENTENCES is accepted and gives nothing.
"""

from collections import Counter
from collections.abc import Callable

from msgspec import Struct

from parsers import ais, alert_sentences, fixes, notes, own_ship, radar, targets, tracked_data
from parsers.numbers import Reading
from parsers.observations import Note, Observation, Source
from parsers.parts import Parts
from parsers.sentence import Refusal, RefusalError, RefusalReason, fields_of, shown, split_address
from parsers.tag import Tagged, untag
from parsers.text import NOTE_LENGTH, clean

Reader = Callable[[list[str], Reading], tuple[Observation, ...]]


class SentenceType(Struct, frozen=True):
    """How one sentence type is read. Shorter sentences are padded with null fields to `width`, the address included.

    `least` is the number of fields below which a sentence is refused.
    """

    read: Reader
    width: int
    least: int
    meaning: str


SENTENCES: dict[str, SentenceType] = {
    "ACK": SentenceType(alert_sentences.read_ack, 2, 1, "acknowledge alarm, the older form"),
    "ACN": SentenceType(alert_sentences.read_acn, 7, 6, "alert command"),
    "DBT": SentenceType(own_ship.dbt, own_ship.DBT.width, 1, "depth below transducer"),
    "DPT": SentenceType(own_ship.dpt, own_ship.DPT.width, 1, "depth"),
    "DTM": SentenceType(fixes.dtm, fixes.DTM.width, 1, "datum reference"),
    "GGA": SentenceType(fixes.gga, fixes.GGA.width, 6, "position fix"),
    "GLL": SentenceType(fixes.gll, fixes.GLL.width, 4, "geographic position"),
    "GNS": SentenceType(fixes.gns, fixes.GNS.width, 6, "position fix of several constellations"),
    "HDG": SentenceType(own_ship.hdg, own_ship.HDG.width, 1, "heading, deviation and variation"),
    "HDM": SentenceType(own_ship.hdm, own_ship.HDM.width, 1, "heading, magnetic"),
    "HDT": SentenceType(own_ship.hdt, own_ship.HDT.width, 1, "heading, true"),
    "OSD": SentenceType(radar.osd, radar.OSD.width, 6, "own ship data"),
    "RMC": SentenceType(fixes.rmc, fixes.RMC.width, 8, "recommended minimum data"),
    "ROT": SentenceType(own_ship.rot, own_ship.ROT.width, 2, "rate of turn"),
    "RSD": SentenceType(radar.rsd, radar.RSD.width, 11, "radar system data"),
    "THS": SentenceType(own_ship.ths, own_ship.THS.width, 2, "true heading and status"),
    "TLB": SentenceType(targets.tlb, 3, 2, "target label"),
    "TLL": SentenceType(targets.tll, targets.TLL.width, 5, "target latitude and longitude"),
    "TTD": SentenceType(tracked_data.ttd, tracked_data.TTD.width, 4, "tracked target data"),
    "TTM": SentenceType(targets.ttm, targets.TTM.width, 10, "tracked target message"),
    "TXT": SentenceType(notes.txt, notes.TXT.width, 4, "text; taken as a note from talkers U0 to U9"),
    "VBW": SentenceType(own_ship.vbw, own_ship.VBW.width, 3, "dual ground and water speed"),
    "VDM": SentenceType(ais.vdm, ais.VDM.width, 5, "AIS, other stations"),
    "VDO": SentenceType(ais.vdo, ais.VDM.width, 5, "AIS, own ship"),
    "VDR": SentenceType(own_ship.vdr, own_ship.VDR.width, 5, "set and drift"),
    "VHW": SentenceType(own_ship.vhw, own_ship.VHW.width, 5, "water speed and heading"),
    "VTG": SentenceType(own_ship.vtg, own_ship.VTG.width, 3, "course and speed over ground"),
    "ZDA": SentenceType(fixes.zda, fixes.ZDA.width, 4, "time and date"),
}
"""Every sentence type that is read, by its formatter."""


def _nothing(fields: list[str], reading: Reading) -> tuple[Observation, ...]:
    return ()


_UNUSED = SentenceType(_nothing, 0, 0, "not used")


def _pad(fields: list[str], kind: SentenceType) -> None:
    """Append null fields for those that a shorter, older form does not have."""
    if len(fields) <= kind.least:
        raise RefusalError(RefusalReason.FIELD_MISSING, f"{len(fields) - 1} fields")
    fields += [""] * (kind.width - len(fields))


class Decoded(Struct, frozen=True, gc=False):
    """What became of one line: observations (possibly none), or a refusal."""

    observations: tuple[Observation, ...] = ()
    refusal: Refusal | None = None


NOTHING = Decoded()

ROUTES_KEPT = 1024
"""Addresses whose way is remembered. A vessel has dozens; a flood of invented ones empties the memory, no more."""


class Decoder:
    """Decodes the lines of one feed. Holds what several lines need, all of it bounded.

    `oddities` counts what was strange in lines that were nevertheless taken, by sentence type and kind.
    """

    def __init__(self, feed: str, require_checksum: bool = True) -> None:
        self.oddities: Counter[str] = Counter()
        self._feed = feed
        self._require_checksum = require_checksum
        self._parts = Parts()
        self._routes: dict[str, tuple[SentenceType, Reading]] = {}

    def decode_line(self, line: bytes, at_s: float, checked: bool = False) -> Decoded:
        """`untag` and `decode` in one."""
        tagged = untag(line, checked)
        return Decoded((), tagged) if isinstance(tagged, Refusal) else self.decode(tagged, at_s)

    def decode(self, tagged: Tagged, at_s: float) -> Decoded:
        """The observations of one line, or why it was refused. Nothing is raised, whatever the line holds."""
        if tagged.oddity is not None:
            self.oddities[tagged.oddity] += 1
        text = tagged.text
        if not text:
            return self._with_note((), tagged, at_s)
        fields = text[1:-3].split(",") if tagged.checked else fields_of(text, self._require_checksum)
        if isinstance(fields, Refusal):
            return Decoded((), fields)
        route = self._routes.get(fields[0]) or self._route(fields[0])
        if route is None:
            return Decoded((), Refusal(RefusalReason.ADDRESS, shown(fields[0])))
        kind, reading = route
        try:
            if len(fields) < kind.width:
                _pad(fields, kind)
            reading.at_s = at_s
            observations = kind.read(fields, reading)
        except RefusalError as error:
            refusal = error.refusal
            return Decoded((), Refusal(refusal.reason, f"{shown(fields[0])}: {refusal.detail}"))
        if tagged.note is not None:
            return self._with_note(observations, tagged, at_s)
        return Decoded(observations) if observations else NOTHING

    def _route(self, address: str) -> tuple[SentenceType, Reading] | None:
        """How an address is read, and the one Source that all its observations share; None where it is malformed."""
        parts = split_address(address)
        if parts is None:
            return None
        if len(self._routes) >= ROUTES_KEPT:
            self._routes.clear()
        talker, formatter = parts
        kind = _UNUSED if talker == "P" else SENTENCES.get(formatter, _UNUSED)
        route = self._routes[address] = (
            kind,
            Reading(Source(self._feed, talker, formatter), self.oddities, self._parts),
        )
        return route

    def _with_note(self, observations: tuple[Observation, ...], tagged: Tagged, at_s: float) -> Decoded:
        """Add the note that a TAG block carries, with the block's source named in its author."""
        if tagged.note is None:
            return Decoded(observations)
        note = Note(
            at_s=at_s,
            source=Source(self._feed, "", "TAG"),
            text=clean(tagged.note, NOTE_LENGTH),
            author=f"{notes.IN_THE_DATA}, {tagged.source}" if tagged.source else notes.IN_THE_DATA,
        )
        return Decoded((*observations, note))
