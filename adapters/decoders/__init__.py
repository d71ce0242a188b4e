"""Bytes to named values: one file a format, each behind the `Decoder` protocol of `adapters.ports`."""
