"""Decoders and sources of other packages: a small wheel is made, really installed, and used."""

from __future__ import annotations

import importlib
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from adapters.description import SourceError
from adapters.feed import load_feed, make_decoder, make_source
from adapters.pipeline import make_pipeline
from adapters.plugins import DECODERS, SOURCES, installed, load
from monitor.sample import Sample
from monitor.toml_check import Faults

DEVELOPERS = Path(__file__).parents[1] / "DEVELOPERS.md"
# A decoder for text in columns of fixed width, and a source that plays a file.
MODULE = '''
"""Fixed-width text for climbout, and a source that plays a file of it."""

import time
from pathlib import Path

from adapters.ports import Packet


class FixedWidth:
    """One record a line; `[decode] widths` gives the columns' widths, and fields are column numbers as text."""

    def __init__(self, feed):
        self.widths = feed.decode.settings["widths"]

    def decode(self, payload):
        for line in payload.decode("ascii").splitlines():
            cells, place = {}, 0
            for number, width in enumerate(self.widths):
                cells[str(number)] = line[place : place + width]
                place += width
            yield cells

    def take_notices(self):
        return []


class FileSource:
    """Gives the lines of `[transport] path`, one a call."""

    def __init__(self, feed):
        self.path = Path(feed.transport.settings["path"])
        self.lines = iter(self.path.read_bytes().splitlines(keepends=True))

    def receive(self, timeout_s):
        line = next(self.lines, None)
        return None if line is None else Packet(time.monotonic_ns(), str(self.path), line)

    def describe(self):
        return f"file {self.path}"

    def close(self):
        self.lines = iter(())
'''
ENTRY_POINTS = """
[climbout.decoders]
fixed-width = climbout_fixed_width:FixedWidth
pairs = my_package.pairs:make_decoder
broken = climbout_fixed_width:Missing

[climbout.sources]
file = climbout_fixed_width:FileSource
"""
METADATA = "Metadata-Version: 2.1\nName: climbout-fixed-width\nVersion: 1.0\n"
WHEEL = "Wheel-Version: 1.0\nGenerator: by hand\nRoot-Is-Purelib: true\nTag: py3-none-any\n"


def documented_decoder() -> str:
    """The decoder that DEVELOPERS.md shows."""
    part = DEVELOPERS.read_text(encoding="utf-8").partition("**A decoder or a source.**")[2]
    assert 'pairs = "my_package.pairs:make_decoder"' in part
    return part.partition("```python\n")[2].partition("```")[0]


@pytest.fixture(scope="module")
def target(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the package installed by pip, from a wheel, without a network."""
    folder = tmp_path_factory.mktemp("plugin")
    wheel = folder / "climbout_fixed_width-1.0-py3-none-any.whl"
    info = "climbout_fixed_width-1.0.dist-info"
    files = {
        "climbout_fixed_width.py": MODULE,
        "my_package/pairs.py": documented_decoder(),
        f"{info}/METADATA": METADATA,
        f"{info}/WHEEL": WHEEL,
        f"{info}/entry_points.txt": ENTRY_POINTS,
    }
    with zipfile.ZipFile(wheel, "w") as archive:
        for name, text in files.items():
            archive.writestr(name, text)
        archive.writestr(f"{info}/RECORD", "".join(f"{name},,\n" for name in [*files, f"{info}/RECORD"]))
    command = [sys.executable, "-m", "pip", "install", "-q", "--no-deps", "--no-index", "--disable-pip-version-check"]
    subprocess.run([*command, "--target", str(folder / "site"), str(wheel)], check=True, timeout=120, cwd=folder)
    return folder / "site"


@pytest.fixture
def plugin(target: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The installed package, importable during one test."""
    monkeypatch.syspath_prepend(str(target))
    importlib.invalidate_caches()
    return target


def description(path: str = "x") -> str:
    """A description that uses both."""
    return f"""
[transport]
kind = "file"
path = {path!r}
[decode]
format = "fixed-width"
widths = [6, 6, 6]
[channels]
time_s = {{ field = "0" }}
ias_kt = {{ field = "1", unit = "m/s" }}
height_ft = {{ field = "2" }}
"""


def test_an_installed_package_brings_a_decoder_and_a_source(plugin: Path, tmp_path: Path) -> None:
    """After pip installed it, its format and kind are known by name, and its packets become samples."""
    assert "fixed-width" in installed(DECODERS)
    assert "file" in installed(SOURCES)
    log = tmp_path / "log.txt"
    log.write_bytes(b"   1.0  20.0     3\n   1.5  abc      4\n")
    feed = load_feed(description(str(log)), "feed x")
    source, pipeline = make_source(feed), make_pipeline(feed)
    samples = []
    while (packet := source.receive(0.1)) is not None:
        samples += pipeline(packet.payload, packet.arrival_ns)
    assert samples == [
        Sample(time_s=1.0, ias_kt=pytest.approx(20 * 3600 / 1852), height_ft=3.0),
        Sample(time_s=1.5, height_ft=4.0),
    ]
    assert 'ias_kt (field "1"): got "  abc "' in pipeline.take_notices()[0]


def test_a_decoder_that_raises_is_kept_from_ending_the_program(plugin: Path) -> None:
    """What another package's decoder raises becomes a counted notice, and the next packet is decoded."""
    pipeline = make_pipeline(load_feed(description(), "feed x"))
    assert pipeline(b"\xff\xfe") == []
    assert len(pipeline(b"   1.0  20.0     3\n")) == 1
    assert "packet 1: the decoder failed: UnicodeDecodeError" in pipeline.take_notices()[0]


def test_a_package_that_cannot_be_loaded_is_told_in_words(plugin: Path) -> None:
    """An entry point to something that is not there is one clear line."""
    feed = load_feed(description().replace("fixed-width", "broken"), "feed x")
    with pytest.raises(SourceError, match="'broken' .* could not be loaded"):
        make_decoder(feed)
    feed = load_feed(description("no such file"), "feed x")
    with pytest.raises(SourceError, match="file could not be opened"):
        make_source(feed)


def test_without_the_package_its_names_are_unknown() -> None:
    """A format or kind that no installed package brings is a fault in the description, like any other."""
    with pytest.raises(Faults) as caught:
        load_feed(description(), "feed x")
    assert [fault.partition(": got")[0] for fault in caught.value.faults] == [
        "feed x: transport.kind", "feed x: decode.format",
    ]  # fmt: skip
    with pytest.raises(LookupError, match="no installed package brings"):
        load(DECODERS, "fixed-width")


def test_the_documented_decoder_works_as_documented(plugin: Path) -> None:
    """The example of DEVELOPERS.md, installed from another package, decodes its packets and tells its notices."""
    text = (
        '[decode]\nformat = "pairs"\n[channels]\nias_kt = { field = "v", unit = "m/s" }\nheight_ft = { field = "h" }\n'
    )
    pipeline = make_pipeline(load_feed(text, "feed x"))
    assert pipeline(b"v 20 h 3") == [Sample(ias_kt=pytest.approx(20 * 3600 / 1852), height_ft=3.0)]
    assert pipeline(b"v 20 h") == []
    assert pipeline.take_notices() == ["1 packets with a name but no value"]
