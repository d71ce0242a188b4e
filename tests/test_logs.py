"""Text logs: told by content, streamed through a feed's own decoder, timed by their own clock."""

from __future__ import annotations

import itertools
from pathlib import Path

import pytest

from adapters.feed import load_feed
from monitor.sample import Sample
from monitor.toml_check import Faults
from replay.logs import Log, default_feed_text, kind_of
from replay.recording import create
from tests.fakes import FEED


def _log(tmp_path: Path, text: str, feed: str = FEED) -> Log:
    path = tmp_path / "a.csv"
    path.write_text(text, encoding="utf-8")
    return Log(path, load_feed(feed, "feed test"))


def _read(tmp_path: Path, text: str, feed: str = FEED) -> list[tuple[float, Sample]]:
    return [(arrival_ns / 1e9, sample) for arrival_ns, sample in _log(tmp_path, text, feed).samples()]


def test_kind_is_told_by_content(tmp_path: Path) -> None:
    """A recording named .csv is a recording, a log named .climbout is a log."""
    create(tmp_path / "a.csv", {}).close()
    (tmp_path / "b.climbout").write_text("t,v,h\n0,1,2\n")
    assert kind_of(tmp_path / "a.csv") == "recording"
    assert kind_of(tmp_path / "b.climbout") == "log"


@pytest.mark.parametrize(("content", "said"), [(b"", "empty"), (b" \n\n", "empty"), (b"\x7fELF\x00\x01", "neither")])
def test_wrong_file_is_one_clear_fault(tmp_path: Path, content: bytes, said: str) -> None:
    """An empty file and a binary one are named as what they are."""
    (tmp_path / "x").write_bytes(content)
    with pytest.raises(Faults, match=said) as error:
        kind_of(tmp_path / "x")
    assert len(error.value.faults) == 1


def test_missing_file_and_folder_are_clear_faults(tmp_path: Path) -> None:
    """A path that is no readable file is told with its name."""
    for path in (tmp_path / "no such", tmp_path):
        with pytest.raises(Faults, match="cannot be read"):
            kind_of(path)


def test_rows_come_as_samples_with_the_log_s_own_time(tmp_path: Path) -> None:
    """Header seen, values mapped; arrival is the time passed since the first row."""
    rows = _read(tmp_path, "t,v,h\n100.0,10,0\n100.5,11,1\n101.5,12,2\n")
    assert [arrival_s for arrival_s, _ in rows] == [0.0, 0.5, 1.5]
    assert rows[1][1] == Sample(time_s=100.5, ias_kt=11.0, height_ft=1.0)


def test_columns_may_be_swapped_by_the_header_and_a_mark_may_lead(tmp_path: Path) -> None:
    """The file's own header rules, also behind a byte-order mark and with Windows line ends."""
    rows = _read(tmp_path, "\ufeffh,v,t\r\n5,10,100\r\n6,11,101\r\n")
    assert [sample.ias_kt for _, sample in rows] == [10.0, 11.0]
    assert [sample.time_s for _, sample in rows] == [100.0, 101.0]


def test_arrival_always_moves_forward(tmp_path: Path) -> None:
    """Arrival stands while the log's clock stands, is late or begins anew; a jump forward is passed on as it is."""
    rows = _read(tmp_path, "t,v,h\n10,1,0\n10,2,0\n9.5,3,0\n10.5,4,0\n700,5,0\n20,6,0\n21,7,0\n")
    steps = [round(b[0] - a[0], 6) for a, b in itertools.pairwise(rows)]
    assert steps == [0.0, 0.0, 0.5, 689.5, 0.0, 1.0]


def test_bad_rows_are_skipped_and_told(tmp_path: Path) -> None:
    """Text in a number, too many columns, NaN and wild values lose that value or row only, and are told."""
    log = _log(tmp_path, "t,v,h\n0,1,2\n0.1,x,2\n0.2,1,2,3,4,5\n0.3,nan,2\n0.4,9e99,2\n0.5,6,2\n")
    samples = [sample for _, sample in log.samples()]
    assert samples[-1] == Sample(time_s=0.5, ias_kt=6.0, height_ft=2.0)
    assert all(sample.ias_kt is None or sample.ias_kt < 10 for sample in samples)
    told = "\n".join(log.take_notices())
    assert "feed test" in told and '"x"' in told


def test_log_without_a_usable_row_is_one_fault(tmp_path: Path) -> None:
    """A text that is no such log is told, with the first thing that was wrong."""
    with pytest.raises(Faults, match="no usable row among 2 lines"):
        _read(tmp_path, "once upon a time\nthere was a text\n")


def test_log_needs_a_clock_and_a_text_format(tmp_path: Path) -> None:
    """A feed without time_s, or of a binary format, cannot read a log, and says so before it begins."""
    with pytest.raises(Faults, match="no time_s"):
        _log(tmp_path, "v\n1\n", FEED.replace('time_s = { field = "t" }\n', ""))
    binary = FEED.replace("delimited", "msgpack").replace('header = "optional"\ncolumns = ["t", "v", "h"]\n', "")
    with pytest.raises(Faults, match="msgpack, which is not text"):
        _log(tmp_path, "v\n1\n", binary)


def test_json_lines_are_a_log_too(tmp_path: Path) -> None:
    """With a JSON feed each line is a record."""
    feed = FEED.replace("delimited", "json").replace('header = "optional"\ncolumns = ["t", "v", "h"]\n', "")
    feed = feed.replace('"v"', '"a.v"')
    rows = _read(tmp_path, '{"t": 1, "a": {"v": 5}}\n\n{"t": 2, "a": {"v": 6}}\n', feed)
    assert [sample.ias_kt for _, sample in rows] == [5.0, 6.0]


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_without_a_feed_our_own_names_are_looked_for(tmp_path: Path, delimiter: str) -> None:
    """A log whose first line holds channel names needs no description; only the named channels are mapped."""
    lines = [("time_s", "ias_kt", "other", "height_ft"), ("0", "10", "x", "0"), ("1", "20", "x", "1")]
    text = "\n".join(delimiter.join(row) for row in lines)
    (tmp_path / "a.csv").write_text(text)
    feed = load_feed(default_feed_text(tmp_path / "a.csv"), "feed")
    assert {channel.channel for channel in feed.channels} == {"time_s", "ias_kt", "height_ft"}
    assert [sample.ias_kt for _, sample in Log(tmp_path / "a.csv", feed).samples()] == [10.0, 20.0]


def test_without_a_feed_and_without_our_names_it_says_so(tmp_path: Path) -> None:
    """A log of other names asks for --feed and shows what its first line was."""
    (tmp_path / "a.csv").write_text("t,v,h\n0,1,2\n")
    with pytest.raises(Faults, match=r'no --feed, .* got "t,v,h"'):
        default_feed_text(tmp_path / "a.csv")


def test_a_large_log_is_streamed(tmp_path: Path) -> None:
    """Samples come before the file has been read to its end."""
    path = tmp_path / "big.csv"
    with path.open("w") as file:
        file.write("t,v,h\n")
        for n in range(20_000):
            file.write(f"{n},10,0\n")
    log = Log(path, load_feed(FEED, "feed test"))
    next(iter(log.samples()))
    assert log.rows == 2


def test_a_log_tells_which_mapped_fields_no_row_has(tmp_path: Path) -> None:
    """A channel mapped to a column that the header lacks is absent once the rows are read; one that is there is not."""
    feed = FEED.replace('columns = ["t", "v", "h"]\n', "") + 'bank_deg = { field = "b" }\n'
    for text, absent in (("t,v,h\n1,2,3\n", {"bank_deg"}), ("t,v,h,b\n1,2,3,4\n", set[str]())):
        log = _log(tmp_path, text, feed)
        assert len(list(log.samples())) == 1
        assert log.absent() == absent
