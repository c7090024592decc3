"""Limb darkening against published relative intensities.

Values: relative intensity at mu = 1, 0.8, 0.6, 0.5, 0.4, 0.3, 0.2, 0.1.
- Pierce & Slaughter 1977, Solar Physics 51, 25 (552 nm, table III, quadratic).
- Neckel & Labs 1994, Solar Physics 153, 91 (580 nm, table 1, fifth degree).
- Allen/Cox 2000, Allen's Astrophysical Quantities, 4th ed., ch. 14 (550 nm, u2 = 0.93, v2 = -0.23).
The tables print the intensities to four digits, so the tolerance is half a unit of the last, 5e-5, plus
2e-5 because the printed coefficients of a row sum to 1 only within that.
"""

from __future__ import annotations

import numpy as np
import pytest
from whichsun.models.errors import InputError, UnknownNameError
from whichsun.render.limb_darkening import (
    _NECKEL_LABS,
    _PIERCE_SLAUGHTER,
    LIMB_LAWS,
    limb_coefficients,
    relative_intensity,
)

MU = np.array([1, 0.8, 0.6, 0.5, 0.4, 0.3, 0.2, 0.1])
PUBLISHED = {
    ("pierce-slaughter", 552.2): [1, 0.9029, 0.7838, 0.7160, 0.6428, 0.5640, 0.4797, 0.3899],
    ("neckel-labs", 579.88): [1, 0.8971, 0.7840, 0.7225, 0.6567, 0.5846, 0.5027, 0.4053],
    ("allen-cox", 550.0): [1, 0.8968, 0.7752, 0.7075, 0.6352, 0.5583, 0.4768, 0.3907],
}


@pytest.mark.parametrize(("law", "wavelength_nm"), PUBLISHED)
def test_published_intensities(law, wavelength_nm):
    expected = PUBLISHED[law, wavelength_nm]
    np.testing.assert_allclose(relative_intensity(MU, law, wavelength_nm), expected, atol=7e-5)


def test_rows_sum_to_one():
    """Neckel & Labs and Pierce & Slaughter normalise every row to 1 at the centre: a check of the copying."""
    for table in (_NECKEL_LABS, _PIERCE_SLAUGHTER):
        np.testing.assert_allclose(table[:, 1:].sum(axis=1), 1, atol=2.5e-5)


def test_mean_to_central_intensity():
    """Neckel & Labs table 1, last column: disc-averaged over central intensity F/I, printed to four digits.

    2 * integral of I mu dmu; 1.5e-4 covers the rounding of five-digit coefficients and of the print.
    """
    printed = {
        427.93: 0.7495,
        492.905: 0.7823,
        541.76: 0.8002,
        579.88: 0.8125,
        640.97: 0.8290,
        700.875: 0.8434,
    }
    for wavelength_nm, ratio in printed.items():
        a = limb_coefficients("neckel-labs", [wavelength_nm])[0]
        mean = 2 * np.sum(a / (np.arange(a.size) + 2))
        assert mean == pytest.approx(ratio, abs=1.5e-4)


def test_blue_is_darker_at_the_limb_than_red():
    red, green, blue = (relative_intensity(0.1, "neckel-labs", nm) for nm in (640.97, 541.76, 445.125))
    assert red > green > blue


def test_bad_names_and_wavelengths():
    assert "neckel-labs" in LIMB_LAWS
    with pytest.raises(UnknownNameError, match="did you mean 'neckel-labs'"):
        limb_coefficients("neckel-lab", [550])
    with pytest.raises(InputError, match="between 400 and 870"):
        limb_coefficients("neckel-labs", [350])
