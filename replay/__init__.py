"""Recordings, logs, the built-in trainer and the debrief. It imports `monitor` and `adapters`."""
