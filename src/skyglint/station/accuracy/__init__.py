"""How well the station finds, measures and names, on simulated bursts of known truth beside what theory allows.

Each module makes bursts with the simulator, which knows nothing of the receiver's methods, and returns plain records
and a printed table. Nothing here is used while the station works.
"""
