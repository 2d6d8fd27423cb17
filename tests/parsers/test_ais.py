"""AIS: published messages, agreement with pyais, "not available", parts, and what is refused.

The published messages are widely used examples (the AIVDM/AIVDO protocol page and the tests of pyais), written here
from memory; that their checksums agree and that names and places come out shows that the memory is right.
"""

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pyais import decode as pyais_decode
from pyais import encode_dict

from parsers.decode import Decoder
from parsers.observations import AisClass, AisDistress, AisOwnShip, AisPosition, AisStatic, Observation
from parsers.sentence import RefusalReason
from tests.parsers.lines import decoded, refused, said, sealed

TYPE_5 = (
    "!AIVDM,2,1,1,A,55?MbV02;H;s<HtKR20EHE:0@T4@Dn2222222216L961O5Gf0NSQEp6ClRp8,0*1C",
    "!AIVDM,2,2,1,A,88888888880,2*25",
)

PUBLISHED = [
    (
        "!AIVDM,1,1,,B,15MqdBP000G@qoLEi69PVGaN0D0=,0*3A",
        ["AisPosition mmsi=366898250 station=class A lat_deg=38.04081 lon_deg=-122.13635 sog_kn=0 cog_deg=15.3 "
         "heading_deg=244 rate_deg_min=0 navigational_status=0 second=47 message_type=1"],
    ),
    (
        "!AIVDM,1,1,,B,25Cjtd0Oj;Jp7ilG7=UkKBoB0<06,0*60",
        ["AisPosition mmsi=356302000 station=class A lat_deg=40.392358 lon_deg=-71.626143 sog_kn=13.9 cog_deg=87.7 "
         "heading_deg=91 navigational_status=0 second=41 message_type=2"],
    ),
    (
        "!AIVDM,1,1,,A,38Id705000rRVJhE7cl9n;160000,0*40",
        ["AisPosition mmsi=563808000 station=class A lat_deg=36.91 lon_deg=-76.327533 high_accuracy=True sog_kn=0 "
         "cog_deg=252 heading_deg=352 rate_deg_min=0 navigational_status=5 second=35 message_type=3"],
    ),
    (
        "!AIVDM,1,1,,B,91b55wi;hbOS@OdQAC062Ch2089h,0*30",
        ["AisPosition mmsi=111232511 station=SAR aircraft lat_deg=58.144 lon_deg=-6.278843 sog_kn=42 cog_deg=154.5 "
         "second=15 message_type=9"],
    ),
    (
        "!AIVDM,1,1,,A,B52K>;h00Fc>jpUlNV@ikwpUoP06,0*4C",
        ["AisPosition mmsi=338087471 station=class B lat_deg=40.68454 lon_deg=-74.072132 sog_kn=0.1 cog_deg=79.6 "
         "second=49 message_type=18"],
    ),
    (
        "!AIVDM,1,1,,B,C5N3SRgPEnJGEBT>NhWAwwo862PaLELTBJ:V00000000S0D:R220,0*0B",
        ["AisPosition mmsi=367059850 station=class B lat_deg=29.543695 lon_deg=-88.810392 sog_kn=8.7 cog_deg=335.9 "
         "second=46 message_type=19",
         "AisStatic mmsi=367059850 name=CAPT.J.RIMES ship_type=70 length_m=26 beam_m=8"],
    ),
    (
        "!AIVDM,1,1,,B,E>kb9O9aS@7PUh10dh19@;0Tah2cWrfP:l?M`00003vP100,0*01",
        ["AisPosition mmsi=993692028 station=aid to navigation lat_deg=37.805622 lon_deg=-122.369867 message_type=21",
         "AisStatic mmsi=993692028 name=SF OAK BAY BR VAIS E"],
    ),
    ("!AIVDM,1,1,,A,H42O55i18tMET00000000000000,2*6D", ["AisStatic mmsi=271041815 name=PROGUY"]),
    (
        "!AIVDM,1,1,,A,H42O55lti4hhhilD3nink000?050,0*40",
        ["AisStatic mmsi=271041815 call_sign=TC6163 ship_type=60 length_m=15 beam_m=5"],
    ),
    (
        "!AIVDM,1,1,,A,KCQ9r=hrFUnH7P00,0*41",
        ["AisPosition mmsi=236091959 station=long range lat_deg=87.065 lon_deg=-154.201667 sog_kn=0 cog_deg=0 "
         "navigational_status=3 message_type=27"],
    ),
]  # fmt: skip


@pytest.mark.parametrize(("line", "expected"), PUBLISHED)
def test_published_message(line: str, expected: list[str]) -> None:
    """Types 1, 2, 3, 9, 18, 19, 21, 24 (both parts) and 27."""
    assert said(line) == expected


def test_published_type_5() -> None:
    """In two parts."""
    decoder = Decoder("ais")
    first, second = (decoder.decode_line(line.encode(), 1.0).observations for line in TYPE_5)
    (static,) = second

    assert first == ()
    assert isinstance(static, AisStatic)
    assert (static.mmsi, static.name, static.call_sign) == (351759000, "EVER DIADEM", "3FOF8")
    assert (static.ship_type, static.length_m, static.beam_m) == (70, 295.0, 32.0)


# What each field of a message may hold, on the air: raw numbers in their range and the "not available" beyond it.
def on_the_air(kind: int) -> dict[str, st.SearchStrategy[Any]]:
    tenths = 1 if kind in (9, 27) else 10
    top = {9: 1023, 27: 63}.get(kind, 1023)
    texts = st.text("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789 .-", max_size=20)
    fields: dict[str, st.SearchStrategy[Any]] = {"mmsi": st.integers(1, 999_999_999)}
    if kind not in (5, 24):
        step = 600 if kind == 27 else 600_000
        fields |= {
            "lat": st.integers(-90 * step, 91 * step).map(lambda raw: raw / step),
            "lon": st.integers(-180 * step, 181 * step).map(lambda raw: raw / step),
            "accuracy": st.booleans(),
        }
    if kind not in (5, 21, 24):
        fields |= {
            "speed": st.integers(0, top).map(lambda raw: raw / tenths),
            "course": st.integers(0, 511) if kind == 27 else st.integers(0, 4095).map(lambda raw: raw / 10),
        }
    if kind in (1, 2, 3, 18, 19):
        fields["heading"] = st.integers(0, 511)
    if kind in (1, 2, 3):
        fields |= {"turn": st.integers(-708, 708), "status": st.integers(0, 15)}
    if kind not in (5, 24, 27):
        fields["second"] = st.integers(0, 63)
    if kind in (5, 19):
        fields |= {"shipname": texts, "ship_type": st.integers(0, 99)}
        fields |= {"to_port": st.integers(0, 63), "to_starboard": st.integers(0, 63)}
    if kind in (5, 19, 21):
        fields |= {"to_bow": st.integers(0, 511), "to_stern": st.integers(0, 511)}
    if kind == 5:
        fields["callsign"] = st.text("ABCDEFGH0123456789", max_size=7)
    if kind == 21:
        fields["name"] = texts
    if kind == 24:
        fields |= {"partno": st.just(0), "shipname": texts}
    return fields


NOT_AVAILABLE = {"sog_kn": (102.3,), "cog_deg": (360.0,), "heading_deg": (511,)}


def agree(ours: AisPosition, theirs: dict[str, Any], kind: int) -> None:
    """Each value is pyais' own, or None where pyais has "not available" or what cannot be."""
    none = dict(NOT_AVAILABLE)
    if kind == 9:
        none["sog_kn"] = (1023.0,)
    if kind == 27:
        none["sog_kn"], none["cog_deg"] = (63.0,), (511.0,)
    assert (ours.lat_deg, ours.lon_deg) == (theirs["lat"], theirs["lon"])
    assert ours.high_accuracy == theirs["accuracy"]
    for name, key in (("sog_kn", "speed"), ("cog_deg", "course"), ("heading_deg", "heading")):
        value = theirs.get(key)
        available = value is not None and value not in none[name] and (key == "speed" or value < 360 or value == 0)
        assert getattr(ours, name) == (value if available else None)


@pytest.mark.parametrize("kind", [1, 2, 3, 5, 9, 18, 19, 21, 24, 27])
@settings(derandomize=True, max_examples=50, deadline=None)
@given(st.data())
def test_agreement_with_pyais(kind: int, data: st.DataObject) -> None:
    """Messages that pyais makes from any values on the air: our observations hold what pyais itself reads in them."""
    values = data.draw(st.fixed_dictionaries(on_the_air(kind)))
    lines = encode_dict({"type": kind, **values}, talker_id="AI", sentence_type="VDM", seq_id=1)
    theirs: dict[str, Any] = dict(pyais_decode(*lines).asdict())
    decoder = Decoder("ais")
    found: list[Observation] = []
    for line in lines:
        outcome = decoder.decode_line(line.encode(), 1.0)
        assert outcome.refusal is None
        found.extend(outcome.observations)
    positions = [observation for observation in found if isinstance(observation, AisPosition)]
    statics = [observation for observation in found if isinstance(observation, AisStatic)]

    placed = "lat" in theirs and abs(theirs["lat"]) <= 90.0 and abs(theirs["lon"]) <= 180.0
    assert len(positions) == (1 if placed else 0)
    assert len(statics) == (1 if kind in (5, 19, 21, 24) else 0)
    for position in positions:
        agree(position, theirs, kind)
        assert position.second is None or position.second == theirs["second"] < 60
    for static in statics:
        assert (static.name or "") == (theirs.get("shipname") or theirs.get("name") or "").strip()
        assert static.mmsi == theirs["mmsi"]
        assert (static.length_m or 0) == theirs.get("to_bow", 0) + theirs.get("to_stern", 0)


def made(**values: Any) -> str:
    """A type 1 message as a sentence."""
    fields = {
        "type": 1,
        "mmsi": 219000123,
        "lat": 55.0,
        "lon": 12.0,
        "speed": 10.0,
        "course": 90.0,
        "heading": 91,
    } | values
    return str(encode_dict(fields, talker_id="AI", sentence_type="VDM")[0])


@pytest.mark.parametrize(
    ("values", "name"),
    [
        ({"speed": 102.3}, "sog_kn"),
        ({"course": 360.0}, "cog_deg"),
        ({"heading": 511}, "heading_deg"),
        ({"turn": -128}, "rate_deg_min"),
        ({"turn": 127}, "rate_deg_min"),
        ({"second": 60}, "second"),
    ],
)
def test_not_available_is_none(values: dict[str, float], name: str) -> None:
    """ITU-R M.1371 (from memory): 102.3 kn, 360.0 degrees, 511, -128 and 127, 60 and over."""
    (position,) = decoded(made(**values))

    assert getattr(position, name) is None


def test_no_position() -> None:
    """91 N and 181 E are "not available", each for itself: no observation, and no place."""
    assert decoded(made(lat=91.0, lon=181.0)) == ()
    assert decoded(made(lat=91.0)) == ()
    assert decoded(made(lon=181.0)) == ()


@pytest.mark.parametrize(
    ("mmsi", "station"),
    [(970012345, AisClass.SART), (972012345, AisClass.MOB), (974012345, AisClass.EPIRB), (219000123, AisClass.A)],
)
def test_distress_numbers(mmsi: int, station: AisClass) -> None:
    """The first three digits of the MMSI say what a beacon is, whatever type of message it sends (ITU-R M.585)."""
    (position,) = decoded(made(mmsi=mmsi))

    assert isinstance(position, AisPosition)
    assert position.station is station


def test_a_beacon_without_a_place_is_heard() -> None:
    """It transmits from the moment it is switched on, before it has a fix."""
    (heard,) = decoded(made(mmsi=970012345, lat=91.0, lon=181.0, status=14))

    assert isinstance(heard, AisDistress)
    assert (heard.mmsi, heard.station, heard.navigational_status) == (970012345, AisClass.SART, 14)


def test_vdo_tells_own_mmsi_and_no_target() -> None:
    """Own transponder's report is no vessel beside us."""
    (own,) = decoded(sealed(made().replace("VDM", "VDO").rpartition("*")[0]))

    assert isinstance(own, AisOwnShip)
    assert own.mmsi == 219000123


def test_other_types_are_accepted_and_say_nothing() -> None:
    """Types 4 and 8."""
    for kind in (4, 8):
        for line in encode_dict({"type": kind, "mmsi": 219000123}, talker_id="AI", sentence_type="VDM"):
            assert decoded(line) == ()


class TestRefused:
    def test_what_pyais_takes_and_we_do_not(self) -> None:
        """A wrong or missing checksum; a message cut short, whose missing values pyais leaves out."""
        assert refused("!AIVDM,1,1,,B,177KQJ5000G?tO`K>RA1wUbN0TKH,0*5D") is RefusalReason.CHECKSUM_WRONG
        assert refused("!AIVDM,1,1,,B,177KQJ5000G?tO`K>RA1wUbN0TKH,0") is RefusalReason.CHECKSUM_MISSING
        assert refused(sealed("!AIVDM,1,1,,B,177KQJ5000G?tO`K>RA1wUbN0TK,0")) is RefusalReason.PAYLOAD_MALFORMED
        assert refused(sealed("!AIVDM,1,1,,A,H42O55lti4hhhilD3nink000?0,0")) is RefusalReason.PAYLOAD_MALFORMED

    @pytest.mark.parametrize(
        ("body", "reason"),
        [
            ("!AIVDM,1,1,,B,177KQJ5000G?tO`K>RA1wUbN0TKX,0", RefusalReason.PAYLOAD_MALFORMED),
            ("!AIVDM,1,1,,B,177KQJ5000G?tO`K>RA1wUbN0TK\xff,0", RefusalReason.PAYLOAD_MALFORMED),
            ("!AIVDM,1,1,,B,177KQJ5000G?tO`K>RA1wUbN0TKH,6", RefusalReason.PAYLOAD_MALFORMED),
            ("!AIVDM,1,1,,B,177KQJ5000G?tO`K>RA1wUbN0TKH,", RefusalReason.PAYLOAD_MALFORMED),
            ("!AIVDM,0,1,,B,177KQJ5000G?tO`K>RA1wUbN0TKH,0", RefusalReason.OUT_OF_RANGE),
            ("!AIVDM,2,3,1,B,177KQJ5000G?tO`K>RA1wUbN0TKH,0", RefusalReason.OUT_OF_RANGE),
            ("!AIVDM,99,1,1,B,177KQJ5000G?tO`K>RA1wUbN0TKH,0", RefusalReason.OUT_OF_RANGE),
            ("!AIVDM,x,1,1,B,177KQJ5000G?tO`K>RA1wUbN0TKH,0", RefusalReason.NUMBER_MALFORMED),
            ("!AIVDM,1,1,,B,1000000000G?tO`K>RA1wUbN0TKH,0", RefusalReason.OUT_OF_RANGE),
            ("!AIVDM,1,1,,B," + "1" * 300 + ",0", RefusalReason.PAYLOAD_MALFORMED),
        ],
    )
    def test_malformed(self, body: str, reason: RefusalReason) -> None:
        """Armour, fill bits, part numbers, MMSI 0, a payload without end."""
        assert refused(sealed(body)) is reason

    def test_an_empty_payload_says_nothing(self) -> None:
        """A transponder with nothing to say sends such lines."""
        assert decoded(sealed("!AIVDM,1,1,,B,,0")) == ()


class TestParts:
    def decode(self, lines: list[tuple[str, float]]) -> tuple[list[int], Decoder]:
        decoder = Decoder("ais")
        return [len(decoder.decode_line(line.encode(), at_s).observations) for line, at_s in lines], decoder

    def test_out_of_order(self) -> None:
        """The second part may come first."""
        assert self.decode([(TYPE_5[1], 0.0), (TYPE_5[0], 0.5)])[0] == [0, 1]

    def test_a_missing_part_is_given_up_and_counted(self) -> None:
        """A second first part begins a new message."""
        counts, decoder = self.decode([(TYPE_5[0], 0.0), (TYPE_5[0], 0.5), (TYPE_5[1], 0.6), (TYPE_5[1], 0.7)])

        assert counts == [0, 0, 1, 0]
        assert decoder.oddities == {"VDM message incomplete": 1}

    def test_too_late(self) -> None:
        """A part that waits for over two seconds is given up: its number is another message's by then."""
        counts, decoder = self.decode([(TYPE_5[0], 0.0), (TYPE_5[1], 2.1)])

        assert counts == [0, 0]
        assert decoder.oddities == {"VDM message incomplete": 1}

    def test_other_channel_and_talker_are_other_messages(self) -> None:
        """Parts of one number on another channel, or by another receiver, are not joined."""
        other_channel = sealed(TYPE_5[1].replace(",A,", ",B,").rpartition("*")[0])
        other_talker = sealed(TYPE_5[1].replace("AIVDM", "BSVDM").rpartition("*")[0])

        assert self.decode([(TYPE_5[0], 0.0), (other_channel, 0.0), (other_talker, 0.0)])[0] == [0, 0, 0]

    def test_padding_inside_a_message_is_refused(self) -> None:
        """Fill bits before the end would shift all that follows."""
        padded = sealed(TYPE_5[0].replace(",0*", ",2*").rpartition("*")[0])
        decoder = Decoder("ais")
        decoder.decode_line(padded.encode(), 0.0)
        refusal = decoder.decode_line(TYPE_5[1].encode(), 0.0).refusal

        assert refusal is not None
        assert refusal.reason is RefusalReason.PAYLOAD_MALFORMED

    def test_a_flood_of_first_parts_is_bounded(self) -> None:
        """Ten thousand talkers and channels: what is held stays at its bound, each given up is counted."""
        decoder = Decoder("ais")
        for i in range(10_000):
            line = sealed(f"!AIVDM,2,1,{i},A,55?MbV02;H;s<HtKR20EHE:0@T4@Dn2222222216L961O5Gf0NSQEp6ClRp8,0")
            assert decoder.decode_line(line.encode(), 0.0).refusal is None

        assert decoder.oddities["VDM message incomplete"] == 10_000 - 64
