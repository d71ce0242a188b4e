"""Coverage-guided fuzzing of every decoder and the mapping, with atheris (libFuzzer for Python; not in any extra).

    pip install atheris
    python -m tests.fuzz.fuzz_decoders CORPUS_FOLDER -runs=1000000

An input's first byte picks the feed (of those in tests/feeds), the rest is one packet. The decoders of a feed live for
1,000 packets, so what one packet leaves behind meets the next. What must hold: nothing raises, every value is within
its channel's range, the short way gives what the careful way gives, and waiting notices stay bounded.
The corpus is begun with the feeds' own packets. libFuzzer prints the executions; a failure leaves a `crash-...` file.
"""

from __future__ import annotations

import sys
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["adapters", "monitor"]):
    # Imported when chosen, so named here: what is imported later is not watched.
    import adapters.decoders.json
    import adapters.decoders.key_value
    import adapters.decoders.mavlink
    import adapters.decoders.msgpack
    import adapters.decoders.nmea
    import adapters.decoders.packed  # noqa: F401
    from adapters.feed import make_decoder, make_tally
    from adapters.mapping import Mapper
    from adapters.pipeline import make_pipeline
    from adapters.tally import MOST_KINDS, MOST_WAITING
    from tests.test_feeds import CASES, assert_in_range, feed_of, packets_of

LIFE = 1000
FEEDS = [feed_of(case) for case in CASES]
OWN = [[packet.payload for packet in packets_of(case)] for case in CASES]


class Target:
    """One feed's two ways, renewed every `LIFE` packets and warmed with its own first packets."""

    def __init__(self, number: int) -> None:
        """The feed of this number."""
        self.number = number
        self.left = 0

    def renew(self) -> None:
        """Fresh decoders that have seen the feed's first packets."""
        feed = FEEDS[self.number]
        self.pipeline = make_pipeline(feed)
        tally = make_tally(feed)
        self.decoder, self.mapper = make_decoder(feed, tally), Mapper(feed, tally)
        self.left = LIFE
        for payload in OWN[self.number][:5]:
            self.put(payload)

    def put(self, payload: bytes) -> None:
        """One packet both ways."""
        arrival_ns = (LIFE - self.left) * 1_000_000
        got = self.pipeline(payload, arrival_ns)
        found = [self.mapper.sample(record, arrival_ns) for record in self.decoder.decode(payload)]
        assert got == [sample for sample in found if sample is not None]
        for sample in got:
            assert_in_range(sample)
        assert len(self.pipeline.tally.counts) <= MOST_KINDS + 1
        if self.left % 50 == 0:
            assert len(self.pipeline.take_notices()) <= MOST_WAITING
        self.left -= 1


TARGETS = [Target(number) for number in range(len(FEEDS))]


def one(data: bytes) -> None:
    """One execution."""
    if not data:
        return
    target = TARGETS[data[0] % len(TARGETS)]
    if target.left <= 0:
        target.renew()
    target.put(data[1:])


def seed(folder: Path) -> None:
    """Begin the corpus with the feeds' own packets."""
    folder.mkdir(parents=True, exist_ok=True)
    for number, payloads in enumerate(OWN):
        for place, payload in enumerate(payloads[:12]):
            (folder / f"{CASES[number]}-{place}").write_bytes(bytes([number]) + payload[:4000])


def main() -> None:
    """Run libFuzzer on the corpus folder given first, or on one file that failed."""
    folders = [argument for argument in sys.argv[1:] if not argument.startswith("-")]
    if folders and not Path(folders[0]).is_file():
        seed(Path(folders[0]))
    atheris.Setup(sys.argv, one)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
