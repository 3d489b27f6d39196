"""Skyglint: catch meteors by radio from home.

The rooms of this package follow the data: ``signals`` delivers samples, ``dsp`` turns them into frames, ``echoes``
finds and measures bursts, ``store`` keeps them, ``activity`` turns counts into rates, and ``report`` and ``web`` show
them. ``sky`` and ``path`` hold the astronomy and the radio physics that the others use. Data moves one way; nothing
in a room imports from a room further along (``tests/test_architecture.py`` holds this).
"""

__version__ = "0.1.0"
