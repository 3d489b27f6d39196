"""Frames to echoes: finding bursts, measuring them, telling them apart.

Score, picker, combiner: each is a public pure function, and one small streaming object strings them together. Nothing
here opens a file or a database; channels, frames and settings are arguments.
"""
