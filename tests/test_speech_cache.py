"""The cache of rendered phrases: kept, found again, never played damaged, and dispensable."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import msgspec
import pytest

from adapters.speech.cache import ClipCache, ClipKey
from tests.fake_speech import tone

KEY = ClipKey("espeak", "gmw/en-us", "en", 190, 1.0, "2.99")


def _only(folder: Path) -> Path:
    (path,) = folder.glob("*.clip")
    return path


def test_a_kept_clip_is_found_again(tmp_path: Path) -> None:
    """What was put is what is got, by another cache on the same folder too."""
    ClipCache(tmp_path / "new").put(KEY, "Rotate", tone(0.2))
    assert ClipCache(tmp_path / "new").get(KEY, "Rotate") == tone(0.2)
    assert ClipCache(tmp_path).get(KEY, "Rotate") is None


def test_any_other_sound_has_another_name() -> None:
    """Engine, voice, language, rate, volume, versions and words each make another file."""
    others = [{"engine": "x"}, {"voice": "x"}, {"language": "de"}, {"rate": 191}, {"volume": 0.9}, {"versions": "x"}]
    names = {msgspec.structs.replace(KEY, **other).name("Rotate") for other in others}
    assert len({*names, KEY.name("Rotate"), KEY.name("rotate")}) == len(others) + 2


@pytest.mark.parametrize("damage", [b"", b"x", b"climbout clip 1\n", None])
def test_a_damaged_entry_is_thrown_away_and_said(tmp_path: Path, damage: bytes | None) -> None:
    """An empty, foreign, cut off or altered file is never played: it is removed, with a line, and rendered anew."""
    cache = ClipCache(tmp_path)
    cache.put(KEY, "Rotate", tone(0.2))
    path = _only(tmp_path)
    data = bytearray(path.read_bytes())
    data[-7] ^= 1
    path.write_bytes(bytes(data) if damage is None else damage)
    assert cache.get(KEY, "Rotate") is None
    assert not path.exists()
    assert ['"Rotate" was damaged' in line for line in cache.take_notices()] == [True]
    assert cache.take_notices() == []


def test_a_full_disk_costs_only_the_keeping(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No space left: one line however many clips, no exception, nothing half written left behind."""

    def full(self: Path, data: bytes) -> int:
        with self.open("wb") as part:
            part.write(data[:100])
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(Path, "write_bytes", full)
    cache = ClipCache(tmp_path)
    for text in ("Rotate", "Clock"):
        cache.put(KEY, text, tone(0.2))
    assert ["No space left on device; phrases are not kept" in line for line in cache.take_notices()] == [True]
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_cannot_be_made_costs_only_the_keeping(tmp_path: Path) -> None:
    """A file stands where the folder should be: one line, and every clip is simply not there."""
    (tmp_path / "file").write_text("")
    cache = ClipCache(tmp_path / "file")
    cache.put(KEY, "Rotate", tone(0.2))
    assert cache.get(KEY, "Rotate") is None
    assert len(cache.take_notices()) == 1


def test_the_longest_unused_go_first(tmp_path: Path) -> None:
    """The folder stays within its size: old clips go, used ones stay, and half-written files of a killed run go."""
    cache = ClipCache(tmp_path)
    for age, text in enumerate(["old", "older", "oldest"]):
        cache.put(KEY, text, tone(0.2))
        os.utime(tmp_path / KEY.name(text), (1e9 - age, 1e9 - age))
    (tmp_path / "x.1.part").write_bytes(b"half")
    (tmp_path / "y.2.part").write_bytes(b"another program is writing")
    os.utime(tmp_path / "x.1.part", (1e9, 1e9))
    cache.touch(KEY, "oldest")
    size = (tmp_path / KEY.name("old")).stat().st_size
    cache.prune(2 * size)
    assert cache.get(KEY, "older") is None
    assert cache.get(KEY, "oldest") is not None
    assert cache.get(KEY, "old") is not None
    assert [path.name for path in tmp_path.glob("*.part")] == ["y.2.part"]
