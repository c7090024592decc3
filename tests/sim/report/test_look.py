"""Contrast of the style's colours: WCAG 2.1, success criterion 1.4.3 (AA), at least 4.5 to 1 for text."""

import re

import pytest
from whichsun.sim.report import look

AA = 4.5


def test_the_measure_itself(contrast):
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21)  # WCAG 2.1: ratios range from 1 to 21
    # The lightest grey that passes on white at AA, and the next that fails: common practice, no source.
    assert contrast("#767676", "#FFFFFF") >= AA > contrast("#777777", "#FFFFFF")


@pytest.mark.parametrize(("text", "ground"), look.TEXT_ON_GROUND)
def test_text_stands_out(text, ground, contrast):
    assert contrast(text, ground) >= AA


def test_no_colour_of_the_style_goes_unchecked():
    texts = set(re.findall(r"(?<![-\w])color: (#\w{6})", look.STYLE))
    grounds = set(re.findall(r"background: (#\w{6})", look.STYLE))
    assert texts
    assert texts <= {text for text, _ in look.TEXT_ON_GROUND}
    assert grounds == {ground for _, ground in look.TEXT_ON_GROUND}
