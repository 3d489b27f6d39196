"""The radio path: geodesics, horizon, losses, noise, antennas over ground, bistatic geometry, trail scattering.

Everything here is a pure function of numbers or arrays, broadcast like NumPy's own, with units in the names and the
published source of each formula in its docstring. Nothing here knows of site files, station lists, receivers, clocks
or the sky: directions and speeds are arguments.

Conventions: latitude north positive, longitude east positive, azimuth clockwise from true north, elevation above the
local horizontal, WGS 84 unless a docstring says sphere. Losses are positive decibels.
"""
