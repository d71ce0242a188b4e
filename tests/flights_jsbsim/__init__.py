"""Flights of a flight-dynamics library for the tests: aeroplanes, pilot, scenarios, sensors and the truth."""
