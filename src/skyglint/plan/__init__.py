"""Which transmitter, and where to point: ranking, aiming, the proposed set of channels.

Two stages: everything that is cheap is computed for all transmitters at once, as arrays; the expected rates, the aim
and the reasons for the best of them. Nothing here reads a list, draws a page or prints: it takes a site, transmitters
and settings and returns records.
"""
