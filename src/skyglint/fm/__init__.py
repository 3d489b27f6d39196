"""What a burst on an FM broadcast channel says: discriminator, stereo pilot, RDS, mean frequency.

Pure functions over the samples of one burst. Nothing here finds bursts, knows of site files or station lists, or keeps
state between bursts; expected programme codes are arguments.

Sources: ITU-R BS.450-3 and 47 CFR 73.322 (the multiplex), IEC 62106 / EN 50067 (RDS), NRSC-4-B (call letters).
"""
