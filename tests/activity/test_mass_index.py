import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from skyglint.activity.mass_index import completeness_limit, mass_index_from_amplitudes, mass_index_from_durations


def pareto(generator, slope, low, high, n):
    """Values with N(> x) ~ x^-slope between limits, by inverting the distribution."""
    u = generator.random(n)
    return (low**-slope - u * (low**-slope - high**-slope)) ** (-1 / slope)


def test_without_an_upper_limit_it_is_the_closed_form():
    # Maximum likelihood for n values above A0: slope n / sum ln(A / A0), standard error slope / sqrt(n) (Crawford,
    # Jauncey & Murdoch 1970).
    values = pareto(np.random.default_rng(1), 1.1, 2.0, np.inf, 4000)
    found = mass_index_from_amplitudes(values, 2.0)
    slope = 4000 / np.sum(np.log(values / 2.0))
    assert found.mass_index == pytest.approx(1 + slope, rel=1e-9)
    assert (found.high_68 - found.low_68) / 2 == pytest.approx(slope / np.sqrt(4000), rel=0.01)
    assert found.echoes == 4000


@pytest.mark.parametrize(("mass_index", "high", "n"), [(2.1, np.inf, 60), (1.8, 8.0, 150), (2.3, 3.0, 200)])
def test_coverage(mass_index, high, n, as_stated):
    generator = np.random.default_rng(1000)
    results = [
        mass_index_from_amplitudes(pareto(generator, mass_index - 1, 1.0, high, n), 1.0, high) for _ in range(1000)
    ]
    assert as_stated([r.low_68 < mass_index < r.high_68 for r in results], 0.6827)
    assert as_stated([r.low_95 < mass_index < r.high_95 for r in results], 0.95)


def test_each_echo_has_its_own_limit():
    # The floor doubles half-way: echoes between the two limits are only found in the first half.
    generator = np.random.default_rng(2)
    quiet, loud = pareto(generator, 1.0, 1.0, np.inf, 6000), pareto(generator, 1.0, 1.0, np.inf, 6000)
    loud = loud[loud >= 2.0]
    values, limits = np.concatenate([quiet, loud]), np.concatenate([np.full(6000, 1.0), np.full(len(loud), 2.0)])
    right = mass_index_from_amplitudes(values, limits)
    assert right.low_95 < 2.0 < right.high_95
    wrong = mass_index_from_amplitudes(values, 1.0)
    assert wrong.high_95 < 2.0


def test_a_ceiling_left_out_steepens_the_slope():
    values = pareto(np.random.default_rng(3), 1.0, 1.0, 5.0, 3000)
    assert mass_index_from_amplitudes(values, 1.0).low_95 > 2.0
    found = mass_index_from_amplitudes(values, 1.0, 5.0)
    assert found.low_95 < 2.0 < found.high_95


@pytest.mark.parametrize(("law", "slope"), [("proportional", 1.17), ("sinking", 0.8775)])
def test_durations_by_both_laws(law, slope):
    # s = 2.17: N(> T) ~ T^-1.17 where T ~ q, T^-0.8775 where T ~ q^(4/3) (McIntosh 1968).
    values = pareto(np.random.default_rng(4), slope, 0.5, 15.0, 20_000)
    found = mass_index_from_durations(values, 0.5, 15.0, law)
    assert found.mass_index == pytest.approx(2.17, abs=0.05)
    assert ("4/3" in found.law) == (law == "sinking")


def test_too_few_echoes_tell_nothing():
    found = mass_index_from_amplitudes([3.0, 4.0, np.nan, 0.5], 1.0)
    assert np.isnan(found.mass_index)
    assert found.echoes == 2
    assert mass_index_from_durations([], 1.0).echoes == 0


@settings(deadline=None)
@given(st.floats(1.3, 3.5), st.floats(0.01, 1000.0), st.integers(0, 1000))
def test_units_do_not_matter(mass_index, scale, seed):
    values = pareto(np.random.default_rng(seed), mass_index - 1, 1.0, 20.0, 80)
    plain = mass_index_from_amplitudes(values, 1.0, 20.0 * 1.0001)
    scaled = mass_index_from_amplitudes(values * scale, scale * 0.9999999, 20.0 * 1.0001 * scale)
    assert plain.mass_index == pytest.approx(scaled.mass_index, rel=1e-4)
    assert plain.low_95 < plain.low_68 < plain.mass_index < plain.high_68 < plain.high_95


def test_the_limit_of_completeness_lies_above_a_soft_threshold():
    # Detection grows from none to all between 0.8 and 1.6; the truth goes on below. Above the limit the index is right.
    generator = np.random.default_rng(7)
    values = pareto(generator, 1.1, 0.5, np.inf, 30_000)
    found = values[generator.random(30_000) < np.clip((values - 0.8) / 0.8, 0, 1)]
    limit = completeness_limit(found)
    assert 1.6 < limit < 3.0
    index = mass_index_from_amplitudes(found, limit)
    assert index.mass_index == pytest.approx(2.1, abs=0.1)
    assert mass_index_from_amplitudes(found, 0.8).mass_index < 1.9  # the soft edge flattens the slope


@pytest.mark.parametrize("width", [0.03, 0.12])
@pytest.mark.parametrize("highest", [np.inf, 10.0])
def test_coverage_above_the_limit_that_the_values_tell(width, highest, as_stated):
    # A soft edge of detection, 10 to 90 % within 1.1 and 4.6 dB; durations beyond 12 s are cut by other laws.
    repetitions = 300
    generator = np.random.default_rng(repetitions)
    results = []
    for _ in range(repetitions):
        values = pareto(generator, 1.07, 0.25, np.inf, 8000)
        values = np.where(values > 12.0, 12.0 + 0.2 * (values - 12.0), values) if highest < np.inf else values
        values = values[generator.random(8000) < 1.0 / (1.0 + values ** (-1.0 / width))]
        results.append(mass_index_from_amplitudes(values, completeness_limit(values, highest=highest), highest))
    assert as_stated([r.low_68 < 2.07 < r.high_68 for r in results], 0.6827)
    assert as_stated([r.low_95 < 2.07 < r.high_95 for r in results], 0.95)


def test_no_limit_in_too_few():
    assert np.isnan(completeness_limit([1.0, 2.0]))
    assert np.isnan(completeness_limit(np.geomspace(1.0, 1.2, 60)))  # nothing is left two decibels above
