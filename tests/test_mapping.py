"""From records to samples: wrapping, offsets, switches, bad values, notices, merging."""

from __future__ import annotations

import pytest

from adapters.feed import load_feed, make_decoder, make_tally
from adapters.mapping import Mapper
from adapters.pipeline import Pipeline, make_pipeline
from adapters.plan import Reading
from adapters.shortcut import raw_type
from monitor.sample import CHANNELS, Sample
from tests.test_feeds import supplied

BASE = """
[decode]
format = "json"
{decode}
[channels]
ias_kt = {{ field = "v" }}
height_ft = {{ field = "h" }}
{more}
"""


def pipeline(more: str = "", decode: str = "") -> Pipeline:
    """A JSON feed of airspeed and height with more channels."""
    return make_pipeline(load_feed(BASE.format(decode=decode, more=more), "feed bay1.toml"))


def one(pipe: Pipeline, text: str) -> dict[str, float]:
    """The one sample of a packet, tried until the short way is taken too; both must say the same."""
    first = [supplied(sample) for sample in pipe(text.encode())]
    for _ in range(4):
        assert [supplied(sample) for sample in pipe(text.encode())] == first
    assert len(first) == 1
    return first[0]


@pytest.mark.parametrize(
    ("field", "wanted"),
    [(0, 0), (360, 0), (359.5, 359.5), (-10, 350), (370, 10), (-350, 10), (720, 0), (-720, 0)],
)
def test_headings_wrap(field: float, wanted: float) -> None:
    """A heading by any count of up to two turns is the same direction from 0 to 360."""
    got = one(pipeline('heading_deg = { field = "x" }'), f'{{"v": 50, "h": 0, "x": {field}}}')
    assert got["heading_deg"] == wanted


@pytest.mark.parametrize(
    ("channel", "field", "wanted"),
    [
        ("bank_deg", 350, -10),
        ("bank_deg", -190, 170),
        ("bank_deg", 180, 180),
        ("bank_deg", -180, -180),
        ("pitch_deg", 355, -5),
        ("longitude_deg", 348.5, -11.5),
    ],
)
def test_angles_wrap_to_half_a_turn(channel: str, field: float, wanted: float) -> None:
    """Bank, pitch and longitude counted from 0 to 360 become -180 to 180."""
    got = one(pipeline(f'{channel} = {{ field = "x" }}'), f'{{"v": 50, "h": 0, "x": {field}}}')
    assert got[channel] == wanted


@pytest.mark.parametrize("field", ["721", "-1e9", "9e99", '"abc"', "1e400", "[1]", "null", '""'])
def test_a_wild_angle_is_not_supplied(field: str) -> None:
    """An angle of more than two turns, or what is no number, is not supplied; the other channels are."""
    got = one(pipeline('heading_deg = { field = "x" }'), f'{{"v": 50, "h": 0, "x": {field}}}')
    assert got == {"ias_kt": 50.0, "height_ft": 0.0}


def test_true_heading_becomes_magnetic() -> None:
    """Variation east is least: true 100 with 3.5 east is magnetic 96.5 (FAA-H-8083-25C, chapter 16), and wraps."""
    more = 'heading_deg = { field = "x", reference = "true", variation_deg = 3.5 }'
    assert one(pipeline(more), '{"v": 50, "h": 0, "x": 100}')["heading_deg"] == 96.5
    assert one(pipeline(more), '{"v": 50, "h": 0, "x": 2}')["heading_deg"] == 358.5


def test_offset_comes_before_the_unit_and_after_the_factor() -> None:
    """`factor` and `offset` are in the field's own unit: (20 * -0.5 + 12) m is 2 m."""
    more = 'altitude_ft = { field = "x", unit = "m", factor = -0.5, offset = 12 }'
    assert one(pipeline(more), '{"v": 50, "h": 0, "x": 20}')["altitude_ft"] == pytest.approx(2 / 0.3048)


@pytest.mark.parametrize(
    ("field", "wanted"),
    [
        ("0.5", 0.0),
        ("0.51", 1.0),
        ("2", 1.0),
        ("-3", 0.0),
        ("true", 1.0),
        ("false", 0.0),
        ('"on"', 1.0),
        ('"off"', 0.0),
    ],
)
def test_a_switch_is_one_above_its_threshold(field: str, wanted: float) -> None:
    """`above` makes 1 of what is above it, 0 of the rest; usual words and JSON's own are understood."""
    got = one(pipeline('on_ground = { field = "x", above = 0.5 }'), f'{{"v": 50, "h": 0, "x": {field}}}')
    assert got["on_ground"] == wanted
    assert type(got["on_ground"]) is float


@pytest.mark.parametrize(
    ("channel", "field", "wanted"),
    [
        ("throttle", 1.0004, 1.0),
        ("throttle", -0.0004, 0.0),
        ("throttle", 1.01, None),
        ("rpm", -2, 0.0),
        ("rpm", -20, None),
        ("slip_ball", -1.001, -1.0),
        ("rpm", 5001, None),
        ("latitude_deg", 90.1, None),
        ("oil_pressure_psi", -0.2, 0.0),
    ],
)
def test_rounding_past_an_end_counts_as_the_end(channel: str, field: float, wanted: float | None) -> None:
    """A hair past 0 or 1 is the end itself (a sensor's zero, a float's rounding); more is not supplied."""
    got = one(pipeline(f'{channel} = {{ field = "x" }}'), f'{{"v": 50, "h": 0, "x": {field}}}')
    assert got.get(channel) == wanted


def test_two_channels_may_share_a_field() -> None:
    """One field may feed two channels."""
    got = one(pipeline('altitude_ft = { field = "h", offset = 300 }'), '{"v": 50, "h": 12}')
    assert (got["height_ft"], got["altitude_ft"]) == (12.0, 312.0)


def test_a_bad_value_is_told_with_its_place_and_count() -> None:
    """The notice says feed, source, packet, channel, field, got, wanted, what happens, and how often so far."""
    text = """
[transport]
kind = "udp"
port = 5501
[decode]
format = "delimited"
columns = ["t", "v", "h"]
[channels]
time_s = { field = "t" }
ias_kt = { field = "v", unit = "m/s" }
height_ft = { field = "h" }
"""
    pipe = make_pipeline(load_feed(text, "feed bay1.toml"))
    for number in range(1041):
        pipe(b"%d,20,0\n" % number)
    pipe(b"1041,abc,0\n")
    place = 'feed bay1.toml, udp 127.0.0.1:5501, packet 1042: ias_kt (field "v")'
    assert pipe.take_notices() == [f'{place}: got "abc", wanted a number in m/s; value not used (1 of 1,042)']
    assert pipe.take_notices() == []


def test_notices_thin_out() -> None:
    """The same fault a thousand times is told at the first three, the tenth, the hundredth and the thousandth."""
    pipe = pipeline()
    for _ in range(1500):
        pipe(b'{"v": "abc", "h": 1}')
    counts = [notice.rpartition("(")[2].partition(" ")[0] for notice in pipe.take_notices()]
    assert counts == ["1", "2", "3", "10", "100", "1,000"]


def test_a_bad_time_loses_the_record() -> None:
    """Without a good time nothing in a record can be placed: no sample, and a notice says so."""
    pipe = pipeline('time_s = { field = "t" }')
    for bad in ('"soon"', "-1", "1e9", "null"):
        assert pipe(f'{{"t": {bad}, "v": 50, "h": 0}}'.encode()) == []
    assert pipe(b'{"v": 50, "h": 0}') == []
    assert sum("record skipped" in notice for notice in pipe.take_notices()) >= 4
    assert len(pipe(b'{"t": 1, "v": 50, "h": 0}')) == 1


def test_missing_fields_are_told_once_together() -> None:
    """Fields that the feed does not have are told in one line, with what it does have."""
    pipe = pipeline('rpm = { field = "engine.rpm" }\nthrottle = { field = "thr" }')
    for _ in range(3):
        assert one(pipe, '{"v": 50, "h": 0, "n": 2400}') == {"ias_kt": 50.0, "height_ft": 0.0}
    (notice,) = pipe.take_notices()
    assert 'rpm (field "engine.rpm"), throttle (field "thr"); the record has "v", "h", "n"' in notice


def test_a_label_of_the_wrong_dimension_is_not_used() -> None:
    """A unit in a label that cannot be the channel's leaves the channel out, and says so."""
    pipe = pipeline('rpm = { field = "n" }')
    assert one(pipe, '{"v": 50, "h": 0, "n (psi)": 2400}') == {"ias_kt": 50.0, "height_ft": 0.0}
    assert any("is a unit of pressure" in notice and "channel not used" in notice for notice in pipe.take_notices())


MERGED = """
[decode]
format = "json"
merge = true
max_age_s = 1.0
[channels]
time_s = { field = "t" }
ias_kt = { field = "v" }
height_ft = { field = "h" }
rpm = { field = "n" }
"""


def test_channels_at_different_rates_become_one_sample() -> None:
    """The pace channel (airspeed) makes a sample of it and of all that came lately; the others alone make none."""
    pipe = make_pipeline(load_feed(MERGED, "feed x"))
    assert pipe(b'{"t": 10, "n": 2400}', 0) == []
    assert pipe(b'{"h": 5}', 100_000_000) == []
    assert pipe(b'{"v": 50}', 200_000_000) == [Sample(time_s=10.0, ias_kt=50.0, height_ft=5.0, rpm=2400.0)]
    assert pipe(b'{"t": 10.5, "v": 51}', 900_000_000) == [Sample(time_s=10.5, ias_kt=51.0, height_ft=5.0, rpm=2400.0)]
    assert pipe.mapper.ages_s(1_000_000_000) == pytest.approx(
        {"time_s": 0.1, "rpm": 1.0, "height_ft": 0.9, "ias_kt": 0.1}
    )


def test_a_value_too_old_is_not_carried_on() -> None:
    """Each channel keeps its own age: one that stopped coming is not supplied after max_age_s, the rest goes on."""
    pipe = make_pipeline(load_feed(MERGED, "feed x"))
    pipe(b'{"t": 10, "n": 2400, "h": 5, "v": 50}', 0)
    assert pipe(b'{"t": 10.9, "h": 6, "v": 51}', 900_000_000)[0].rpm == 2400.0
    assert pipe(b'{"t": 11.1, "h": 7, "v": 52}', 1_100_000_000)[0].rpm is None


def test_a_lost_pace_channel_does_not_silence_the_rest() -> None:
    """When the pace channel stops, samples come with every record and without it, so that its loss is seen."""
    pipe = make_pipeline(load_feed(MERGED, "feed x"))
    pipe(b'{"t": 10, "h": 5, "v": 50}', 0)
    assert pipe(b'{"t": 10.5, "h": 6}', 500_000_000) == []
    assert pipe(b'{"t": 11.5, "h": 7}', 1_500_000_000) == [Sample(time_s=11.5, height_ft=7.0)]


def test_without_arrivals_ages_count_in_feed_time() -> None:
    """A log has no arrival times: how old a value is counts in the feed's own time then."""
    pipe = make_pipeline(load_feed(MERGED, "feed x"))
    pipe(b'{"t": 10, "n": 2400, "h": 5, "v": 50}')
    assert pipe(b'{"t": 10.9, "h": 6, "v": 51}')[0].rpm == 2400.0
    assert pipe(b'{"t": 11.1, "h": 7, "v": 52}')[0].rpm is None


def test_a_mapper_alone_counts_its_own_records() -> None:
    """Decoder and mapper may be used apart; each then gives its own notices."""
    feed = load_feed(BASE.format(decode="", more=""), "feed x")
    decoder, mapper = make_decoder(feed, make_tally(feed)), Mapper(feed)
    (record,) = decoder.decode(b'{"v": "abc", "h": 1}')
    assert mapper.sample(record) == Sample(height_ft=1.0)
    assert "packet 1: ias_kt" in mapper.take_notices()[0]
    assert decoder.take_notices() == []


def test_a_byte_order_mark_is_no_part_of_the_first_label() -> None:
    """Some programs begin their text with a byte order mark; the first column is found all the same."""
    text = '[decode]\nformat = "delimited"\n[channels]\nias_kt = { field = "v" }\nheight_ft = { field = "h" }\n'
    pipe = make_pipeline(load_feed(text, "feed x"))
    assert pipe(b"\xef\xbb\xbfv,h\n") == []
    assert pipe(b"50,2\n") == [Sample(ias_kt=50.0, height_ft=2.0)]


def test_a_record_of_thousands_of_labels_is_gone_through_once() -> None:
    """A hostile record with thousands of labels costs one look at each label, not one for each channel."""
    pipe = pipeline('rpm = { field = "n" }\nthrottle = { field = "thr" }')
    looked = 0

    class Label(str):
        def __hash__(self) -> int:
            nonlocal looked
            looked += 1
            return super().__hash__()

    record = {Label(f"x{number} [kt]"): 1.0 for number in range(3000)}
    looked = 0
    assert pipe.mapper.sample(record) is None
    assert looked < 8 * 3000


TEXT = """
[decode]
format = "delimited"
{decode}
[channels]
time_s = {{ field = "Time" }}
ias_kt = {{ field = "v" }}
height_ft = {{ field = "h" }}
"""


@pytest.mark.parametrize(
    "header",
    [
        "Time,v,h",
        "# Time,v,h",
        "#Time,v,h",
        "#,Time,v,h",
        "<LABELS> ,Time,v,h",
        "<LABELS> Time,v,h",
        " Time , v ,h,",
        '"Time","v","h"',
    ],
)
def test_headers_as_senders_write_them(header: str) -> None:
    """A tag or a comment sign before the names, spaces, quotes and a comma at the end do not hide the columns."""
    pipe = make_pipeline(load_feed(TEXT.format(decode=""), "feed x"))
    assert pipe(header.encode() + b"\n") == []
    assert pipe(b" 1, 2, 3\n") == [Sample(time_s=1.0, ias_kt=2.0, height_ft=3.0)]
    assert pipe.take_notices() == []


def test_a_header_too_short_is_not_trusted() -> None:
    """Labels shifted against the data (one too few after the tag) are not used: the columns are, or nothing is."""
    header, line = b"<LABELS> ,Time,h\n", b" 1, 2, 3\n"
    pipe = make_pipeline(load_feed(TEXT.format(decode=""), "feed x"))
    assert [pipe(header), pipe(line)] == [[], []]
    assert "got a line of 3 fields, wanted 2, which the header has" in pipe.take_notices()[-1]
    pipe = make_pipeline(load_feed(TEXT.format(decode='columns = ["Time", "v", "h"]'), "feed x"))
    assert [pipe(header), pipe(line)] == [[], [Sample(time_s=1.0, ias_kt=2.0, height_ft=3.0)]]
    assert "the configured columns are used" in pipe.take_notices()[0]


def test_a_new_header_holds_from_then_on() -> None:
    """A sender that starts again with its columns in another order is followed."""
    pipe = make_pipeline(load_feed(TEXT.format(decode=""), "feed x"))
    pipe(b"Time,v,h\n")
    for number in range(6):
        assert pipe(b"%d,2,3\n" % number)[0].height_ft == 3.0
    pipe(b"h,Time,v\n")
    for number in range(6):
        assert pipe(b"9,%d,2\n" % number)[0].height_ft == 9.0


def test_other_letters_are_hinted_at() -> None:
    """A label in other letters is not guessed at, but named in the notice."""
    pipe = make_pipeline(load_feed(TEXT.format(decode=""), "feed x"))
    pipe(b"Time,V,h\n")
    pipe(b"1,2,3\n")
    assert 'ias_kt (field "v"; did you mean "V"?)' in pipe.take_notices()[0]


def test_columns_win_over_a_header_with_a_field_too_many() -> None:
    """With `columns`, a header that has one field more than the data is not used, and one notice says so."""
    pipe = make_pipeline(load_feed(TEXT.format(decode='columns = ["Time", "v", "h"]'), "feed x"))
    pipe(b"<LABELS> ,Time,h,v\n")
    for number in range(6):
        assert pipe(b"%d,2,3\n" % number) == [Sample(time_s=float(number), ias_kt=2.0, height_ft=3.0)]
    (notice,) = pipe.take_notices()
    assert "the header has 4 fields for 3 columns; the configured columns are used" in notice


def test_a_damaged_header_does_not_end_a_good_feed() -> None:
    """A header cut short while a good one holds is not taken; a real change of columns is, once the data has it."""
    pipe = make_pipeline(load_feed(TEXT.format(decode=""), "feed x"))
    pipe(b"Time,v,h\n")
    pipe(b"1,2,3\n")
    pipe(b"Time,v\n")
    assert pipe(b"2,2,3\n") == [Sample(time_s=2.0, ias_kt=2.0, height_ft=3.0)]
    assert pipe(b"3,2\n") == [Sample(time_s=3.0, ias_kt=2.0)]
    assert any('without "h", which the one before had' in notice for notice in pipe.take_notices())


def test_a_header_that_does_not_fit_gives_way_to_the_one_before() -> None:
    """A junk line that happens to hold every name is dropped again when the data still fits the header before."""
    pipe = make_pipeline(load_feed(TEXT.format(decode=""), "feed x"))
    pipe(b"Time,v,h\n")
    pipe(b"1,2,3\n")
    pipe(b"v,h,Time,and,more\n")
    assert pipe(b"2,2,3\n") == [Sample(time_s=2.0, ias_kt=2.0, height_ft=3.0)]


def test_columns_win_over_a_header_whose_number_is_not_the_datas() -> None:
    """With `columns`, a header of another number of columns than the data gives way to them; one notice says so."""
    pipe = make_pipeline(load_feed(TEXT.format(decode='columns = ["Time", "v", "h"]'), "feed x"))
    pipe(b"Time,seat,v,h\n")
    for number in range(6):
        assert pipe(b"%d,2,3\n" % number) == [Sample(time_s=float(number), ias_kt=2.0, height_ft=3.0)]
    (notice,) = pipe.take_notices()
    assert "the header has 4 columns and the data 3; the configured columns are used" in notice


@pytest.mark.parametrize("factor", [1e9, -1e9, 1e-9, -1e-9, 1.0, 0.1])
@pytest.mark.parametrize("offset", [0.0, 1e9, -1e9, 0.3, -1e-9])
@pytest.mark.parametrize("channel", ["throttle", "time_s", "longitude_deg", "slip_ball", "rpm", "oat_degc"])
def test_the_short_way_keeps_to_the_range_at_its_ends(factor: float, offset: float, channel: str) -> None:
    """Whatever the factor and offset, the short way's raw bounds give values within the range, nearly all of it."""
    info = CHANNELS[channel]
    reading = Reading(channel, "x", "x", "", factor, offset, info.low, info.high)
    bounds = raw_type(reading).__metadata__[0]
    ends = sorted(raw * factor + offset for raw in (bounds.ge, bounds.le))
    assert info.low <= ends[0] <= ends[1] <= info.high
    slack = max(abs(factor) * 1e-6, abs(offset) * 1e-14, (info.high - info.low) * 1e-9)
    assert ends[0] - info.low <= slack
    assert info.high - ends[1] <= slack


EMPTY = """
[decode]
format = "delimited"
delimiter = "{delimiter}"
[channels]
time_s = {{ field = 0 }}
ias_kt = {{ field = 1, unit = "m/s" }}
height_ft = {{ field = 2 }}
rpm = {{ field = 3 }}
"""


@pytest.mark.parametrize("delimiter", [",", ";"])
@pytest.mark.parametrize(
    ("cells", "wanted"),
    [
        (["1", "10", "", "2000", "7"], {"time_s", "ias_kt", "rpm"}),
        (["1", "10", " 5", "  ", ""], {"time_s", "ias_kt", "height_ft"}),
        (["1", "", "", "2000", "x"], {"time_s", "rpm"}),
        (["1", "", "", "", "7"], None),
        (["", "10", "5", "2000", "7"], None),
    ],
)
def test_an_empty_cell_is_not_supplied_and_takes_the_short_way(
    delimiter: str, cells: list[str], wanted: set[str] | None
) -> None:
    """Lines whose same cell is always empty are read without the careful way, unless they make no sample."""
    pipe = make_pipeline(load_feed(EMPTY.format(delimiter=delimiter), "feed bay1.toml"))
    full, gaps = ((delimiter.join(row) + "\n").encode() for row in (["1", "10", "5", "2000", "7"], cells))
    for _ in range(4):
        assert len(pipe(full)) == 1
    looked: list[bytes] = []
    careful = pipe.decoder.decode
    pipe.decoder.decode = lambda payload: looked.append(payload) or careful(payload)  # type: ignore[method-assign,func-returns-value]
    got = [set(supplied(sample)) for sample in pipe(gaps)]
    assert got == ([] if wanted is None else [wanted])
    assert bool(looked) == (wanted is None)


def test_text_of_numbers_to_a_json_feed_is_told() -> None:
    """A sender of delimited text to a description of JSON is told of, with what came and what was wanted."""
    pipe = pipeline()
    assert pipe(b"1,2,3\n") == []
    (notice,) = pipe.take_notices()
    assert "wanted a JSON object" in notice
