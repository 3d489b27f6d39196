"""Where things are in the sky: Earth, Sun, radiants, showers, sporadic sources, satellites.

Pure functions of time and place, vectorised, without network: the ephemeris and the Earth-orientation models are those
of ERFA, the library that Astropy computes with. It is used directly because it starts in 0.02 s instead of a second
and needs no tables of the Earth's orientation that grow old. Nothing here knows of radio, channels or echoes.

Conventions: latitude north positive, longitude east positive, azimuth clockwise from true north, elevation and
altitude above the horizontal plane of the ellipsoid, heights above WGS84, no refraction. Time is POSIX seconds, taken
as UT1 where the Earth's rotation is meant: UTC and UT1 differ by less than 0.9 s, which is 0.004 deg of rotation.
"""
