"""An invented list: a few dozen invented stations around the invented site of the examples."""

from __future__ import annotations

from importlib import resources

from skyglint.transmitters import own_csv
from skyglint.transmitters.listing import Listing

#: Name under which the list appears.
NAME = "invented transmitters"


def demo_listing() -> Listing:
    """Read the packaged list."""
    text = resources.files(__package__).joinpath("transmitters.csv").read_text(encoding="utf-8")
    return own_csv.read(text.splitlines(), NAME)
