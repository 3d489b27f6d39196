import threading
import time

import pytest

from skyglint.web.cache import Cache


class Clock:
    def __init__(self) -> None:
        self.now = 100.0

    def __call__(self) -> float:
        return self.now


def test_an_answer_is_kept_until_it_is_old():
    clock, made = Clock(), []
    cache = Cache(monotonic=clock)

    def make() -> int:
        made.append(clock.now)
        return len(made)

    assert cache.get("a", 5.0, make) == 1
    clock.now += 4.9
    assert cache.get("a", 5.0, make) == 1
    clock.now += 0.2
    assert cache.get("a", 5.0, make) == 2
    cache.clear()
    assert cache.get("a", 5.0, make) == 3


def test_a_crowd_makes_an_answer_once():
    cache, made = Cache(), []

    def make() -> str:
        time.sleep(0.1)
        made.append(1)
        return "answer"

    answers: list[str] = []
    threads = [threading.Thread(target=lambda: answers.append(cache.get("k", 60.0, make))) for _ in range(12)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert answers == ["answer"] * 12
    assert len(made) == 1


def test_the_oldest_answer_makes_room():
    cache, made = Cache(most=2), []
    for key in "abca":
        cache.get(key, 60.0, lambda key=key: made.append(key))
    assert made == ["a", "b", "c", "a"]


def test_a_failure_is_not_kept():
    cache = Cache()

    def fail() -> int:
        raise ValueError("not now")

    with pytest.raises(ValueError, match="not now"):
        cache.get("k", 60.0, fail)
    assert cache.get("k", 60.0, lambda: 7) == 7
