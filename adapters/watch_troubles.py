"""What is wrong with what arrives, in words, and what to try, the likeliest first."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterator

from adapters.description import ChannelMap, FeedDescription, Transport
from adapters.identify_guesses import GUESSES
from adapters.units import conversion
from adapters.watch_view import Trouble, WatchView
from monitor.sample import CHANNELS

QUIET_S = 2.0
SLOW_HZ, FAST_HZ = 5.0, 250.0
LARGEST_WHOLE = 1472
"""Bytes a datagram carries in one Ethernet frame: 1,500 less 20 of IPv4 and 8 of UDP header (RFC 894, 791, 768)."""
OLD_S = 2.0

Check = Callable[[WatchView, FeedDescription | None], Iterator[Trouble]]


def troubles(view: WatchView, feed: FeedDescription | None, transport: Transport | None) -> tuple[Trouble, ...]:
    """Everything that is wrong now; empty when all is well."""
    if not view.packets:
        return tuple(_nothing(view, transport))
    return tuple(trouble for check in _CHECKS for trouble in check(view, feed))


def _nothing(view: WatchView, transport: Transport | None) -> Iterator[Trouble]:
    if view.listening_s < QUIET_S:
        return
    what = f"nothing has arrived at {view.source} for {view.listening_s:.0f} s"
    if view.refused:
        yield Trouble(
            f"{view.refused:,} packets came, all from addresses that only_from leaves out",
            ("add the sender's address to only_from in the feed description",),
        )
    elif transport is not None and transport.kind == "zeromq":
        yield Trouble(what, _zeromq_causes(transport))
    else:
        yield Trouble(what, _udp_causes(transport))


_NOT_SENT = "not sent: the simulator's output is off, or it is paused or in a menu"


def _udp_causes(transport: Transport | None) -> tuple[str, ...]:
    """The usual three: sent elsewhere, not let in, not sent at all."""
    bind = (transport.bind if transport else None) or "127.0.0.1"
    port = f"port {transport.port}" if transport else "this port"
    if transport is not None and transport.group:
        elsewhere = f"sent to another place: the simulator must send to the group {transport.group}, {port}"
    elif bind.startswith("127.") or bind == "::1":
        elsewhere = (
            f"sent to another place: the simulator must send to {port} at {bind}, which only this machine can reach; "
            "for a simulator on another machine bind this machine's network address, and send there"
        )
    else:
        elsewhere = f"sent to another place: the simulator must send to {port} at this machine's network address"
    blocked = "not let in: a firewall stops it; allow UDP to this program"
    return (elsewhere, blocked, _NOT_SENT)


def _zeromq_causes(transport: Transport) -> tuple[str, ...]:
    end = f"connects to {transport.connect}" if transport.connect else f"binds {transport.bind}"
    other = "bind" if transport.connect else "connect"
    role = "pub" if transport.pattern == "sub" else "push"
    topic = f', with the topic "{transport.topic}" first' if transport.topic else ""
    elsewhere = (
        f"another place or role: this end {end} as {transport.pattern}; the sender must {other} there, as {role}"
    )
    blocked = "not let in: a firewall, or encryption keys on one side only ([transport.curve])"
    return (elsewhere + topic, blocked, _NOT_SENT)


def _stopped(view: WatchView, _feed: FeedDescription | None) -> Iterator[Trouble]:
    silent = min(sender.silent_s for sender in view.senders)
    if silent > QUIET_S:
        yield Trouble(f"nothing for {silent:.0f} s; it came before", ("is the simulator paused, or was it closed?",))


def _undecoded(view: WatchView, feed: FeedDescription | None) -> Iterator[Trouble]:
    sender = view.senders[0]
    if sender.packets < 10 or sender.decoded_share > 0.5:
        return
    if feed is None:
        if not view.ways:
            yield Trouble("these packets fit no format known here", ("is this the right port?", *_look()))
        return
    share = f"{1 - sender.decoded_share:.0%} of the packets give no record as {feed.decode.format}"
    tries = tuple(f"they fit: {way}" for way in view.ways[:3]) or ("is this the right port?",)
    yield Trouble(share, (*tries, *_look()))


def _look() -> tuple[str, ...]:
    return ("climbout feed identify finds format and fields by asking for one control at a time",)


def _no_field(view: WatchView, feed: FeedDescription | None) -> Iterator[Trouble]:
    if feed is None or not view.fields or view.senders[0].packets < 10:
        return
    names = {field.field for field in view.fields}
    words = [str(name) for name in names]
    for channel in view.channels:
        if channel.value is None and channel.field not in names:
            like = difflib.get_close_matches(str(channel.field), words, n=3, cutoff=0.5) or sorted(words)[:6]
            yield Trouble(f"{channel.channel}: no field {channel.field!r} arrives", (f"there are {', '.join(like)}",))


def _no_value(view: WatchView, feed: FeedDescription | None) -> Iterator[Trouble]:
    """A field arrives, but no usable value of its channel ever did."""
    last = {field.field: field.last for field in view.fields}
    for channel in feed.channels if feed else ():
        shown = next(one for one in view.channels if one.channel == channel.channel)
        if shown.value is None and channel.field in last:
            yield _unfit(channel, last[channel.field])
        elif shown.age_s is not None and shown.age_s > OLD_S and view.senders[0].silent_s < OLD_S:
            yield Trouble(f"{channel.channel}: no new value for {shown.age_s:.0f} s while other data arrives")


def _unfit(channel: ChannelMap, got: float | str | None) -> Trouble:
    """A field whose value is no value of its channel: say what it comes to, and which units would fit."""
    name, spec = channel.channel, CHANNELS[channel.channel]
    if not isinstance(got, float):
        what = "nothing" if got is None else f'"{got}"'
        return Trouble(f"{name}: field {channel.field!r} gives {what}, wanted a number", ("is it another field?",))
    value = got * channel.factor + channel.offset
    what = f"{name}: field {channel.field!r} gives {got:g}, which comes to {value:.5g} {spec.unit}".rstrip()
    fit = [unit for unit in GUESSES[name].units if _fits(got, unit, channel)] if name in GUESSES else []
    tries = (f"its unit may be {' or '.join(fit)}",) if fit else ("another factor or offset?",)
    return Trouble(f"{what}; wanted {spec.low:g} to {spec.high:g}", (*tries, "or is it another field?"))


def _fits(got: float, unit: str, channel: ChannelMap) -> bool:
    if unit == channel.unit:
        return False
    spec, to = CHANNELS[channel.channel], conversion(unit, channel.channel)
    return spec.low <= got * to.factor + to.offset <= spec.high


def _pace(view: WatchView, _feed: FeedDescription | None) -> Iterator[Trouble]:
    sender = view.senders[0]
    if sender.packets < 20 or sender.silent_s > QUIET_S:
        return
    if 0 < sender.rate_hz < SLOW_HZ:
        yield Trouble(
            f"{sender.rate_hz:.2g} packets a second: calls and the moment of lift-off are less exact",
            ("send 10 to 60 a second if the simulator can",),
        )
    if sender.rate_hz > FAST_HZ:
        yield Trouble(f"{sender.rate_hz:.0f} packets a second: more than is of use", ("60 a second are plenty",))
    if sender.lost > 0.01 * sender.packets:
        share = sender.lost / (sender.packets + sender.lost)
        yield Trouble(
            f"{share:.1%} of the packets never came ({sender.lost_how})",
            ("send less often", "use a cable instead of a wireless network", "close what keeps this machine busy"),
        )
    if sender.repeated > 0.5 * sender.packets:
        yield Trouble("most packets repeat the one before", ("is the simulator paused, or does it send too often?",))
    if sender.jitter_ms > max(20.0, sender.interval_ms):
        yield Trouble(
            f"packets come unevenly: {sender.interval_ms:.0f} ms apart, 1 in 20 is {sender.jitter_ms:.0f} ms off",
            ("the machine that sends is busy, or the network is",),
        )


def _size(view: WatchView, _feed: FeedDescription | None) -> Iterator[Trouble]:
    if view.size > LARGEST_WHOLE:
        yield Trouble(
            f"packets of {view.size:,} bytes are cut in pieces on most networks; one lost piece loses all",
            ("send fewer fields, or keep sender and climbout on one machine",),
        )


def _several(view: WatchView, feed: FeedDescription | None) -> Iterator[Trouble]:
    busy = [sender for sender in view.senders if sender.silent_s < QUIET_S]
    if len(busy) > 1:
        others = ", ".join(sender.origin for sender in busy[1:4])
        more = f" and {len(busy) - 4} more" if len(busy) > 4 else ""
        yield Trouble(
            f"{len(busy)} senders at once; only {busy[0].origin} is used, not {others}{more}",
            ("stop the others, or name the right one in only_from",),
        )


def _still(view: WatchView, _feed: FeedDescription | None) -> Iterator[Trouble]:
    sender = view.senders[0]
    numbers = [field for field in view.fields if field.low is not None]
    if sender.packets > 100 and len(numbers) > 2 and all(field.change_share == 0 for field in numbers):
        yield Trouble("no field has changed at all", ("is the simulator paused?",))


_CHECKS: tuple[Check, ...] = (_stopped, _undecoded, _no_field, _no_value, _pace, _size, _several, _still)
