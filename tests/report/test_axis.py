from skyglint.report import axis


def test_ticks_at_the_edges_lean_inwards(nights):
    page = nights["short"]
    ticks = axis.time_scale(page).ticks()
    assert [axis.tick_class(page, tick) for tick in ticks] == ["first", *["inner"] * (len(ticks) - 2), "last"]
    assert (axis.tick_left(page, ticks[0]), axis.tick_left(page, ticks[-1])) == ("0.00%", "100.00%")


def test_seconds_are_told_only_where_ticks_are_that_close(nights):
    first = {name: axis.tick_text(page, axis.time_scale(page).ticks()[0]) for name, page in nights.items()}
    assert (first["short"], first["full"]) == ("22:10:00", "23:00")
