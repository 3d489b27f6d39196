"""Sudden death: engine and pages are killed at random moments, many times over, while a receiver keeps sending.

After each: what was stored is still there, the database passes its integrity check, the process is back within 10 s,
and the time that nobody watched is not counted as watched.
"""

import random
import time

# Lives between two kills: mostly short (killed while starting or warming up), some long enough to have found echoes.
KILLS = 20
LONG_LIVES = (4, 11, 18)


def test_sudden_deaths(make_station, patience):
    station = make_station()
    random.seed(7)
    patience(station.is_there, 60, "the database")
    seen: set[int] = set()
    deaths = []
    for number in range(KILLS):
        child = station.pages if number % 4 == 3 else station.engine
        if number in LONG_LIVES:
            before = len(station.echo_ids())
            patience(lambda least=before: len(station.echo_ids()) > least, 60, "an echo")
        time.sleep(random.uniform(0.2, 2.0))
        patience(lambda who=child: who.process is not None, 10, child.name)
        seen |= station.echo_ids()
        process = child.process
        process.kill()
        killed = time.time()
        patience(lambda who=child, old=process: who.process not in (None, old), 10, child.name)
        deaths.append((child.name, killed, time.time()))
        assert seen <= station.echo_ids()
        assert station.integrity() == "ok"
    assert len(seen) >= len(LONG_LIVES)
    watched = [span for span in station.coverage() if span.state == "watched"]
    lost = [span.reason for span in station.coverage() if span.state == "lost"]
    for name, killed, back in deaths:
        if name == "engine":
            # The samples on their way when it died are the most that may count beyond its death.
            dead = [span for span in watched if span.start_unix < killed + 0.3 and span.end_unix > back]
            assert not dead
    assert any("engine was not running" in reason for reason in lost)
