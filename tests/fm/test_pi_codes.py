import pytest
from hypothesis import given
from hypothesis import strategies as st

from skyglint.fm.pi_codes import call_letters, code_of_call, countries, is_variant

# NRSC-4-B Annex D: rule and inverse; KGTB and WKTI are textbook examples, the others the rule's corners.
CALLS = {
    "KAAA": 0xAFA1,
    "KAAB": 0xA101,
    "KGBO": 0xAFA2,
    "KGCH": 0xA213,
    "KGLK": 0xAF21,
    "KGTB": 0x21C7,
    "KQZX": 0x3CE1,
    "KZZZ": 0x54A7,
    "WAAA": 0x54A8,
    "WKTI": 0x7106,
    "WZZZ": 0x994F,
}


@pytest.mark.parametrize(("call", "code"), CALLS.items())
def test_call_letters_by_rule(call, code):
    assert code_of_call(call) == code
    assert call_letters(code) == call


@given(st.sampled_from("KW"), st.text("ABCDEFGHIJKLMNOPQRSTUVWXYZ", min_size=3, max_size=3))
def test_every_call_comes_back(first, rest):
    assert call_letters(code_of_call(first + rest)) == first + rest


def test_three_letter_calls_come_from_the_table():
    assert call_letters(0x99B9) == "WRC"
    assert code_of_call("WRC") == 0x99B9
    assert call_letters(0x9989) == "WWL"


@pytest.mark.parametrize("code", [0x0000, 0x0FFF, 0x9961, 0x99BA, 0xB123, 0xFFFF])
def test_codes_without_a_call(code):
    assert call_letters(code) == ""


@pytest.mark.parametrize("call", ["", "XAAA", "K12A", "KAAAA", "KÄÄÄ", "WQQ"])
def test_calls_without_a_code_are_refused(call):
    with pytest.raises(ValueError, match="not a call with a code"):
        code_of_call(call)


def test_country_sets():
    # IEC 62106 Annex D: nibble F is shared by Egypt, France, Norway, Belarus and Bosnia.
    assert countries(0xF3A7) == ("EG", "FR", "NO", "BY", "BA")
    assert countries(0x0123) == ()


def test_variants_of_one_transmitter():
    assert is_variant(0xD3A1, 0xD4A1)  # another region of the same programme
    assert is_variant(0x54A8, 0x14A8)  # a traffic service in North America
    assert not is_variant(0xD3A1, 0xD3A1)
    assert not is_variant(0xD3A1, 0xD3A2)
    assert not is_variant(0xD3A1, 0xC4A1)
