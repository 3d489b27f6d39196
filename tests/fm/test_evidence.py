import numpy as np
import pytest

from skyglint.fm.blocks import OFFSET_WORDS, bits_of, encode_block, sent_signs
from skyglint.fm.evidence import all_words_evidence, block_evidence, most_evidence, word_evidence


@pytest.fixture
def ratios():
    return np.random.default_rng(1).normal(0, 2.0, 60)


@pytest.mark.parametrize("name", list(OFFSET_WORDS))
def test_dual_code_sum_equals_the_sum_over_all_words(ratios, name):
    evidence = block_evidence(ratios)[name]
    for place in (0, 7, 33):
        codes = all_words_evidence(ratios[place : place + 27], name)
        assert evidence[place] == pytest.approx(np.log(np.mean(np.exp(codes))), abs=2e-3)


def test_one_word_agrees_with_the_table_of_all(ratios):
    codes = all_words_evidence(ratios[5:32], "A")
    for code in (0x0000, 0x1234, 0xFFFF):
        assert word_evidence(ratios, code, "A")[5] == pytest.approx(codes[code], abs=1e-4)


def test_direct_likelihoods_of_a_word():
    # From the definition: P(r | signs s) is proportional to exp(sum r s / 2); random signs are all 2^27 alike.
    ratios = np.random.default_rng(2).normal(0, 1.5, 27)
    signs = sent_signs(bits_of(encode_block(0x54A8, "D")))
    either = np.exp(ratios @ signs / 2) / 2 + np.exp(-ratios @ signs / 2) / 2
    random = np.prod((np.exp(ratios / 2) + np.exp(-ratios / 2)) / 2)
    assert word_evidence(ratios, 0x54A8, "D")[0] == pytest.approx(np.log(either / random), rel=1e-9)


def test_a_clean_block_is_worth_its_ten_check_bits_and_a_known_one_twenty_six():
    ratios = 20.0 * sent_signs(bits_of(encode_block(0xC201, "B")))
    assert block_evidence(ratios)["B"][0] == pytest.approx(10 * np.log(2), abs=1e-4)
    assert word_evidence(ratios, 0xC201, "B")[0] == pytest.approx(26 * np.log(2), abs=1e-4)


def test_expectation_under_random_signs_is_one():
    # Any sizes of the soft bits: this is what bounds false identifications on noise.
    random = np.random.default_rng(3)
    sizes = np.abs(random.normal(0, 0.4, 27))
    signs = random.choice([-1.0, 1.0], (4000, 27))
    values = [np.exp(block_evidence(row * sizes)["A"][0]) for row in signs]
    assert np.mean(values) == pytest.approx(1.0, abs=4 * np.std(values) / np.sqrt(len(values)))


def test_no_word_says_more_than_the_most(ratios):
    codes = all_words_evidence(ratios[:27], "A")
    assert codes.max() < most_evidence(ratios[:27]).sum()
    assert most_evidence(np.array([0.0, 50.0])) == pytest.approx([0.0, np.log(2)])


def test_bits_that_did_not_arrive_say_nothing():
    ratios = np.zeros(80)
    assert block_evidence(ratios)["A"] == pytest.approx(np.zeros(54), abs=1e-5)
    assert word_evidence(ratios, 0x1234, "A") == pytest.approx(np.zeros(54), abs=1e-9)
