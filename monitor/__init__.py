"""The coach, pure: samples and times in, events and snapshots out. It imports nothing else of ours."""
