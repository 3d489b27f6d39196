"""Synthetic nights with known truth: from a scenario to samples or frames, and what is true in them.

Here live the scenario file, the transmitters (FM with stereo and RDS, carriers), the envelopes of trails and of all
that is not a meteor, the receiver's faults, and the packaged demo. Nothing here detects or measures, and the decoders
in other rooms share no code with the encoders here, so that each tests the other.
"""

from skyglint.simulate.packaged import demo_files
from skyglint.simulate.recording import simulate
from skyglint.simulate.scenario import Scenario, load_scenario
from skyglint.simulate.truth import TrueEvent, Truth, read_truth

__all__ = ["Scenario", "TrueEvent", "Truth", "demo_files", "load_scenario", "read_truth", "simulate"]
