"""The edges: feeds in, voice and screen and events out, the command line. It imports only `monitor`."""
