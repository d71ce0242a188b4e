"""The tests; `made_flight`, `flights_jsbsim` and `fakes` are what they share."""
