from dataclasses import asdict

import pytest

from skyglint.report.tokens import DARK, LIGHT, PRINT, Palette, css_variables

SCHEMES = {"light": LIGHT, "dark": DARK, "print": PRINT}


def luminance(colour: str) -> float:
    """WCAG 2.2, "relative luminance"."""
    parts = [int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """WCAG 2.2, "contrast ratio"."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_contrast_formula_agrees_with_known_values():
    # WCAG 2.2: black on white is 21 : 1; #767676 is the lightest grey that reaches 4.5 : 1 on white (common practice).
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)
    assert contrast("#777777", "#ffffff") < 4.5


@pytest.mark.parametrize("name", SCHEMES)
@pytest.mark.parametrize("voice", ["ink", "soft"])
@pytest.mark.parametrize("ground", ["paper", "card", "guard"])
def test_text_can_be_read_on_every_ground(name, voice, ground):
    palette = SCHEMES[name]
    assert contrast(getattr(palette, voice), getattr(palette, ground)) >= 4.5


@pytest.mark.parametrize("name", SCHEMES)
@pytest.mark.parametrize("ground", ["paper", "card", "guard"])
def test_marks_and_traces_stand_out_from_every_ground(name, ground):
    # WCAG 2.2 criterion 1.4.11 asks 3 : 1 of graphics that carry meaning.
    palette = SCHEMES[name]
    for drawn in (palette.ember, palette.trace):
        assert contrast(drawn, getattr(palette, ground)) >= 3.0


def test_whiskers_are_seen_on_their_bars():
    for palette in SCHEMES.values():
        assert contrast(palette.card, palette.trace) >= 3.0


def test_paper_is_printed_in_black_white_and_greys():
    for colour in asdict(PRINT).values():
        assert colour[1:3] == colour[3:5] == colour[5:7]


def test_the_style_sheet_has_every_token_in_every_scheme():
    sheet = css_variables()
    for palette in (LIGHT, DARK, PRINT):
        for name, colour in asdict(palette).items():
            assert f"--{name}:{colour}" in sheet
    # Dark is for screens only: a reader with a dark screen prints on white paper.
    assert "@media screen and (prefers-color-scheme:dark)" in sheet


def test_a_colour_of_measured_power_is_never_an_ember():
    def is_warm(colour: str) -> bool:
        return int(colour[1:3], 16) > int(colour[5:7], 16) + 40

    for palette in (LIGHT, DARK):
        assert [name for name in Palette.__slots__ if is_warm(getattr(palette, name))] == ["ember"]
