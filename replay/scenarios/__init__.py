"""Scenarios of the built-in training aeroplane: what goes wrong, and when."""
