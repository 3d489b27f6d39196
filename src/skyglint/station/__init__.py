"""The station at work: the chain from a source to the database, for recordings and for the unattended run.

Here the rooms to the left are strung together: source, filter bank, detector, store. Files, clocks and databases come
in as arguments; the signal chain itself lives in its own rooms.
"""
