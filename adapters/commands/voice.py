"""`climbout voice`: which voices and sound devices there are, and a try of them."""

from __future__ import annotations

import argparse
import json
import sys
import time
from typing import Any

from adapters.speech.spoken import Spoken
from adapters.voice import Voice, VoiceSettings, make_voice
from adapters.voice_options import add_voice_options, voice_settings
from monitor.events import Event

NAME = "voice"
HELP = "list the voices and sound devices, or try them"
_TRY = (
    ("callout", "clock", "Clock"),
    ("callout", "airspeed-alive", "Airspeed alive"),
    ("advisory", "heading", "Come right"),
    ("callout", "rotate", "Rotate"),
    ("callout", "climb-speed", "Climb speed, seven two"),
)
_CUT = (
    ("advisory", "climb-fast", "This advisory is cut off by a warning"),
    ("warning", "abort", "Abort, abort. Oil pressure"),
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What to do, and the voice's options."""
    parser.add_argument("what", choices=("list", "test"), help="list: what this machine has; test: say a few calls")
    parser.add_argument("--text", metavar="WORDS", help="say these words instead (with test)")
    parser.add_argument("--all", action="store_true", help="voices of every language (with list)")
    parser.add_argument("--language", metavar="TAG", default="en", help="language of the voices (default en)")
    parser.add_argument("--json", action="store_true", help="one JSON object on standard output")
    add_voice_options(parser)


def run(args: argparse.Namespace) -> int:
    """0 when there is a voice to hear; 1 when there is no speech engine or no sound."""
    settings = voice_settings(args, language=args.language)
    return _list(args, settings) if args.what == "list" else _test(args, settings)


def _list(args: argparse.Namespace, settings: VoiceSettings) -> int:
    found = _found(settings)
    voices = [voice for voice in found["voices"] if args.all or voice["in_language"]]
    if args.json:
        print(json.dumps({**found, "voices": voices}))
        return 0 if found["engine"] else 1
    print(f"speech engine: {found['engine'] or 'none: ' + found['engine_problem']}")
    if voices:
        print("voices:" if args.all else f"voices for {args.language} (--all for every language):")
    for voice in voices:
        print(f"  {'*' if voice['id'] == found['voice'] else ' '} {voice['id']:<28} {voice['name']}")
    print(f"sound devices: {', '.join(found['devices']) or 'none: ' + found['device_problem']}")
    print(f"playing programs: {', '.join(found['programs']) or 'none'}")
    print(f"calls would be {found['sound'] if found['audible'] else 'shown as text: ' + found['sound']}")
    return 0 if found["engine"] else 1


def _found(settings: VoiceSettings) -> dict[str, Any]:
    from adapters.speech.child import SpeechError
    from adapters.speech.choose import choose_player
    from adapters.speech.device import list_devices
    from adapters.speech.players import find_programs
    from adapters.voice import make_child

    found: dict[str, Any] = {"engine": "", "engine_problem": "", "voice": "", "voices": [], "device_problem": ""}
    child = make_child(settings)
    try:
        hello = child.start()
        found |= {"engine": hello.engine, "voice": hello.voice}
        found["voices"] = [{"id": i, "name": name, "in_language": ours} for i, name, ours in hello.voices]
    except SpeechError as error:
        found["engine_problem"] = str(error)
    finally:
        child.close()
    try:
        found["devices"] = list_devices()
    except OSError as error:
        found |= {"devices": [], "device_problem": str(error)}
    found["programs"] = [command[0] for command in find_programs()]
    player, found["sound"] = choose_player(lambda *_: None, settings.device)
    found["audible"] = player.audible
    player.close()
    return found


def _test(args: argparse.Namespace, settings: VoiceSettings) -> int:
    calls = (("callout", "test", args.text),) if args.text else (*_TRY, *_CUT)
    voice = make_voice([text for _, _, text in calls], settings)
    started = time.monotonic()
    try:
        line = voice.start() or ""
        print(line, file=sys.stderr)
        print(f"ready in {time.monotonic() - started:.2f} s", file=sys.stderr)
        log = _say(voice, calls)
        for notice in voice.take_notices():
            print(notice, file=sys.stderr)
        latency_s = voice.latency_s()
    finally:
        voice.close()
    if args.json:
        print(json.dumps({"line": line, "latency_s": latency_s, "log": [entry._asdict() for entry in log]}))
    elif latency_s is not None:
        print(f"from the call to its first sound: {1000 * latency_s:.0f} ms", file=sys.stderr)
    return 0 if latency_s is not None and not any(entry.reason.startswith("as text") for entry in log) else 1


def _say(voice: Voice, calls: tuple[tuple[str, str, str], ...]) -> list[Spoken]:
    """Each call when the one before has ended, but for the warning, which comes in the middle of an advisory."""
    log: list[Spoken] = []
    for kind, identity, text in calls:
        voice.event(Event(None, kind, identity, say=text))
        if identity == _CUT[0][1]:
            time.sleep(1.0)
        else:
            voice.drain(10.0)
        log += _show(voice.take_log())
    return log


def _show(log: list[Spoken]) -> list[Spoken]:
    for entry in log:
        if entry.what != "queued":
            print(f"{entry.what:>9}  {entry.text}{f'  ({entry.reason})' if entry.reason else ''}", file=sys.stderr)
    return log
