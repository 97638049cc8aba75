"""Colours keep their contrast (practice 3.24) and every fill its ink."""

import pytest

from daq.console.tokens import INK_ON, TEXT_PAIRS, THEMES, contrast


@pytest.mark.parametrize("theme", THEMES.values(), ids=lambda theme: theme.name)
@pytest.mark.parametrize("ink, ground", TEXT_PAIRS)
def test_every_text_stands_out_seven_to_one(theme, ink, ground):
    assert contrast(getattr(theme, ink), getattr(theme, ground)) >= 7.0


@pytest.mark.parametrize("theme", THEMES.values(), ids=lambda theme: theme.name)
def test_every_ink_on_every_fill_is_among_the_tested_pairs(theme):
    for ground, inks in INK_ON.items():
        for ink in inks:
            assert (ink, ground) in TEXT_PAIRS
    for edge in ("blue", "green", "line"):
        assert contrast(getattr(theme, edge), theme.card) >= 3.0


def test_contrast_knows_its_ends():
    assert contrast("000000", "FFFFFF") == pytest.approx(21.0)
    assert contrast("123456", "123456") == 1.0
