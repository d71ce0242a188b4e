"""Breaks the coach in known ways, one at a time, and shows that the tests fail on each: `python -m tests.mutation`."""
