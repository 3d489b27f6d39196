"""Samples to frames: channel spectra every 10 ms, carriers' basebands, and the running floor.

Pure functions over arrays and small streaming objects (``process``, ``reset``); a stream cut anywhere gives the same
result as the whole. Nothing here knows what an echo is, opens a file or reads a clock.
"""
