"""Rendered phrases kept on disk, so that the next start needs no engine.

One file a phrase, named by a hash of everything that decides its sound; a checksum inside, so that a damaged file is
rendered again rather than played. A disk that is full or read-only costs only the keeping, and is said once.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import time
from collections import deque
from pathlib import Path

import msgspec

from adapters.speech.clip import RATE_HZ, Clip

_MAGIC = b"climbout clip 1\n"
_SUM_BYTES = 32
_STALE_S = 60.0
KEEP_BYTES = 64 * 1024 * 1024  # about 1,500 phrases; the longest unused go first


class ClipKey(msgspec.Struct, frozen=True):
    """What decides how a phrase sounds, beside its words."""

    engine: str
    voice: str
    language: str
    rate: int
    volume: float
    versions: str

    def name(self, text: str) -> str:
        """The file name for `text`: the same for the same sound, another for any other."""
        what = msgspec.json.encode([self, text, RATE_HZ])
        return hashlib.sha256(what).hexdigest()[:40] + ".clip"


class ClipCache:
    """The folder of rendered phrases. Never raises on a bad file or disk; `take_notices` tells once what was wrong."""

    def __init__(self, folder: Path) -> None:
        """Keep clips in `folder`, which is made when the first is kept."""
        self._folder = folder
        self._notices: deque[str] = deque(maxlen=50)  # another thread takes them
        self._told = False

    def get(self, key: ClipKey, text: str) -> Clip | None:
        """The kept clip, or None when there is none or it is damaged (then it is thrown away)."""
        path = self._folder / key.name(text)
        try:
            data = path.read_bytes()
        except OSError:
            return None
        pcm = data[len(_MAGIC) + _SUM_BYTES :]
        if pcm and len(pcm) % 2 == 0 and data.startswith(_MAGIC + hashlib.sha256(pcm).digest()):
            return Clip(pcm)
        self._notices.append(f'voice cache: "{text}" was damaged and is rendered again ({path})')
        with contextlib.suppress(OSError):
            path.unlink()
        return None

    def put(self, key: ClipKey, text: str, clip: Clip) -> None:
        """Keep `clip`: written beside and moved into place, so that no reader ever sees half a file."""
        path = self._folder / key.name(text)
        part = path.with_suffix(f".{os.getpid()}.part")
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
            part.write_bytes(_MAGIC + hashlib.sha256(clip.pcm).digest() + clip.pcm)
            part.replace(path)
        except OSError as error:
            self._tell_once(
                f"voice cache: {self._folder}: {error.strerror or error}; phrases are not kept for next time"
            )
            with contextlib.suppress(OSError):
                part.unlink(missing_ok=True)

    def touch(self, key: ClipKey, text: str) -> None:
        """Mark the clip as used, so that `prune` keeps it."""
        with contextlib.suppress(OSError):
            (self._folder / key.name(text)).touch(exist_ok=True)

    def prune(self, keep_bytes: int = KEEP_BYTES) -> None:
        """Remove the longest unused clips until the folder holds `keep_bytes`, and what a kill left half written."""
        with contextlib.suppress(OSError):
            for part in self._folder.glob("*.part"):
                if time.time() - part.stat().st_mtime > _STALE_S:  # a younger one may be another program's, at work
                    part.unlink()
            files = sorted(self._folder.glob("*.clip"), key=lambda path: path.stat().st_mtime, reverse=True)
            total = 0
            for path in files:
                total += path.stat().st_size
                if total > keep_bytes:
                    path.unlink()

    def take_notices(self) -> list[str]:
        """What was wrong since the last call, a line each."""
        return [self._notices.popleft() for _ in range(len(self._notices))]

    def _tell_once(self, line: str) -> None:
        if not self._told:
            self._notices.append(line)
            self._told = True
