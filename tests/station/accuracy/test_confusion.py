import numpy as np
import pytest

from skyglint.echoes.echo import CLASSES
from skyglint.station.accuracy.confusion import Confusion, carrier_confusion, fm_confusion


def test_balanced_accuracy_is_the_mean_over_classes():
    counts = np.zeros((len(CLASSES), len(CLASSES)), dtype=np.int64)
    counts[0, 0], counts[1, 1], counts[1, 0] = 90, 1, 3
    confusion = Confusion(CLASSES, counts, np.zeros(len(CLASSES), dtype=np.int64))
    assert confusion.balanced_accuracy == pytest.approx((1.0 + 0.25) / 2)
    assert (confusion + confusion).counts.sum() == 188


def test_clear_carrier_echoes_are_told_apart():
    confusion = carrier_confusion(4, (48.0, 55.0), 6, ("underdense", "overdense", "head"))
    assert confusion.counts.sum() >= 11
    assert confusion.balanced_accuracy >= 0.8


def test_clear_fm_bursts_are_told_apart():
    confusion = fm_confusion(4, (5.0, 15.0), 6, ("underdense", "overdense", "lightning"))
    assert confusion.counts.sum() >= 11
    assert confusion.balanced_accuracy >= 0.8
