from skyglint.station.accuracy.reflections import measure_reflections


def test_fm_reflections_are_found_as_the_radar_equation_promises():
    below, above = measure_reflections(40, 5, kinds=("fm",), margins_db=(-10.0, 6.0))
    assert (below.hope, above.hope) == ("none", "yes")
    assert below.detected <= 0.05
    assert above.detected == 1.0
    assert above.cross_section_m2 > 30 * below.cross_section_m2


def test_carrier_reflections_are_found_as_the_radar_equation_promises():
    below, above = measure_reflections(3, 6, kinds=("carrier",), margins_db=(-10.0, 6.0))
    assert (below.hope, above.hope) == ("none", "yes")
    assert below.detected == 0.0
    assert above.detected == 1.0
