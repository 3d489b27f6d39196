"""How well the detector does on simulated nights, beside what theory allows.

Each module answers one question and returns plain numbers; a generator of randomness or a seed is an argument. Nothing
here is used in the running of a station.
"""
