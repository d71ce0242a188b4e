"""How accurate the coach is: many seeded flights of the flight-dynamics library, clean and with one fault each.

python -m tests.accuracy generate --clean 150 --faulted 150 --dir D     flights to files, once
python -m tests.accuracy evaluate --dir D                               the coach over all of them, tables
python -m tests.accuracy show --dir D NAME                              one flight: events against the truth
python -m tests.accuracy run --clean 1000 --faulted 1000                the whole Monte Carlo, nothing kept
python -m tests.accuracy rates --n 60                                   the same flights at 60, 20, 5, 1 Hz and thinned
"""
