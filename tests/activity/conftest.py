"""What tests of intervals share: how often simulated intervals may hold the truth if they hold it as often as they say.

The seed of such a simulation is its number of repetitions, and the bounds come from the binomial law: nothing in them
is chosen by the outcome.
"""

import numpy as np
import pytest
from scipy.stats import binom


@pytest.fixture
def as_stated():
    """Return a test of hits against a nominal share: one such simulation in a thousand lies outside the bounds."""

    def told(hits, nominal):
        held = np.asarray(hits, dtype=bool)
        low, high = binom.ppf([0.0005, 0.9995], held.size, nominal)
        return bool(low <= held.sum() <= high)

    return told
