"""Key pairs for an encrypted ZeroMQ feed: made, written to two files, and read back.

The secret file is kept apart from the feed description, whose text goes into every recording.
"""

from __future__ import annotations

import os
import tomllib
from pathlib import Path

import zmq

from adapters.description import Curve, SourceError


def make_keys(folder: Path, name: str) -> tuple[Path, Path]:
    """Write NAME.public.toml and NAME.secret.toml, the latter for the owner alone.

    Raises `SourceError`, also when one of the files is there already.
    """
    if not zmq.has("curve"):
        raise SourceError("this machine's ZeroMQ library has no CURVE encryption")
    public, secret = (key.decode() for key in zmq.curve_keypair())
    public_path, secret_path = folder / f"{name}.public.toml", folder / f"{name}.secret.toml"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for path in (public_path, secret_path):
            if path.exists():
                raise SourceError(f"keys {path}: there already; move it away first, it may be in use")
        _write_private(secret_path, f'public_key = "{public}"\nsecret_key = "{secret}"\n')
        public_path.write_text(f'public_key = "{public}"\n', encoding="ascii")
    except OSError as error:
        if isinstance(error, SourceError):
            raise
        raise SourceError(f"keys {folder}: cannot be written: {error.strerror or error}") from error
    return public_path, secret_path


def _write_private(path: Path, text: str) -> None:
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)  # Windows keeps the folder's own rights
    with os.fdopen(handle, "w", encoding="ascii") as file:
        file.write(text)


def own_keys(curve: Curve) -> tuple[str, str]:
    """Our public and secret key, from the file when the description names one. Raises `SourceError`."""
    if curve.secret_key_file is None:
        return curve.public_key, curve.secret_key
    path = Path(curve.secret_key_file).expanduser()
    try:
        data = tomllib.loads(path.read_text(encoding="ascii"))
        public, secret = data["public_key"], data["secret_key"]
    except OSError as error:
        raise SourceError(f"keys {path}: cannot be read: {error.strerror or error}") from error
    except (ValueError, KeyError) as error:
        raise SourceError(
            f"keys {path}: wanted public_key and secret_key, as `climbout feed keys` writes them"
        ) from error
    if not all(isinstance(key, str) and len(key) == 40 for key in (public, secret)):
        raise SourceError(f"keys {path}: wanted two keys of 40 characters, as `climbout feed keys` writes them")
    return public, secret
