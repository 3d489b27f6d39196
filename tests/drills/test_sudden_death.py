"""Sudden death: engine and pages are killed at random moments, many times over, while a receiver keeps sending.

After each: what was stored is still there, the database passes its integrity check, the process is back within 10 s,
and the time that nobody watched is not counted as watched.
"""

import random
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from skyglint.station.supervise import HEALTHY_S

SCRIPT = Path(__file__).parent / "engine_in_trouble.py"
#: Two stations die at the same time, each so often.
KILLS = 10
#: Most lives are short (killed while starting or warming up); these are long enough to have found echoes.
LONG_LIVES = (2, 6)
#: As many deaths in a row have rising pauses before a new start; the others follow upon a healthy night.
IN_A_ROW = 3


def die_often(station, seed, wait_for):
    """Kill engine and pages again and again; return who died, when, and when it was back."""
    moments = random.Random(seed)
    seen: set[int] = set()
    deaths = []
    wait_for(station.is_there, 60, "the database")
    for number in range(KILLS):
        child = station.pages if number % 4 == 3 else station.engine
        if number in LONG_LIVES:
            before = len(station.echo_ids())
            wait_for(lambda least=before: len(station.echo_ids()) > least, 60, "an echo")
        time.sleep(moments.uniform(0.1, 1.6))
        wait_for(lambda who=child: who.process is not None, 10, child.name)
        seen |= station.echo_ids()
        process = child.process
        if number >= IN_A_ROW:
            child.started -= HEALTHY_S + 1.0
        process.kill()
        killed = time.time()
        wait_for(lambda who=child, old=process: who.process not in (None, old), 10, child.name)
        deaths.append((child.name, killed, time.time()))
        assert seen <= station.echo_ids()
        assert station.integrity() == "ok"
    assert len(seen) >= len(LONG_LIVES)
    return deaths


def test_sudden_deaths(make_station, patience):
    stations = [make_station(script=SCRIPT) for _ in range(2)]
    with ThreadPoolExecutor(len(stations)) as pool:
        lives = list(pool.map(die_often, stations, (7, 8), [patience] * 2))
    assert sum(map(len, lives)) >= 20
    for station, deaths in zip(stations, lives, strict=True):
        watched = [span for span in station.coverage() if span.state == "watched"]
        lost = [span.reason for span in station.coverage() if span.state == "lost"]
        for name, killed, back in deaths:
            if name == "engine":
                # The samples on their way when it died are the most that may count beyond its death.
                dead = [span for span in watched if span.start_unix < killed + 0.3 and span.end_unix > back]
                assert not dead
        assert any("engine was not running" in reason for reason in lost)
