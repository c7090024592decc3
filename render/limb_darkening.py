"""Published limb darkening of the quiet Sun: relative intensity as a polynomial in mu.

Every law gives I(mu)/I(1) = sum of A_i mu^i with mu the cosine of the angle between the surface's normal
and the line of sight.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from ..models.errors import InputError, UnknownNameError

# Wavelength (nm), A0 to A5. H. Neckel & D. Labs, "Solar limb darkening 1986-1990 (303 to 1099 nm)",
# Solar Physics 153 (1994) 91-114, table 1, the rows of 400 to 870 nm. Copied from a public transcription
# (github.com/ISP-SST/sstred, red_neckel_coefficients.pro), not from the printed page; guarded by the rows'
# sums (1 within 2e-5) and the printed ratios of mean to central intensity.
_NECKEL_LABS = np.array(
    [
        [401.970, 0.12323, 1.08648, -0.43974, 0.45912, -0.32759, 0.09850],
        [416.319, 0.12814, 1.19947, -0.84407, 1.07201, -0.79537, 0.23982],
        [427.930, 0.14249, 1.28796, -1.19564, 1.68603, -1.36658, 0.44572],
        [443.885, 0.16220, 1.24893, -0.92165, 0.89978, -0.50148, 0.11220],
        [445.125, 0.15248, 1.38517, -1.49615, 1.99886, -1.48155, 0.44119],
        [457.345, 0.16604, 1.38544, -1.52275, 2.00232, -1.45969, 0.42864],
        [477.427, 0.19571, 1.30551, -1.25845, 1.50626, -1.05472, 0.30570],
        [492.905, 0.20924, 1.30798, -1.20411, 1.21505, -0.67196, 0.14381],
        [519.930, 0.23695, 1.29927, -1.28034, 1.37760, -0.85054, 0.21706],
        [541.760, 0.26073, 1.27428, -1.30352, 1.47085, -0.96618, 0.26384],
        [559.950, 0.26892, 1.34319, -1.58427, 1.91271, -1.31350, 0.37295],
        [579.880, 0.28392, 1.36896, -1.75998, 2.22154, -1.56074, 0.44630],
        [610.975, 0.30854, 1.36620, -1.83572, 2.33221, -1.63082, 0.45959],
        [640.970, 0.33644, 1.30590, -1.79238, 2.45040, -1.89979, 0.59943],
        [669.400, 0.34685, 1.37539, -2.04425, 2.70493, -1.94290, 0.55999],
        [700.875, 0.37885, 1.25553, -1.70908, 2.19647, -1.59554, 0.47378],
        [748.710, 0.40627, 1.22842, -1.67877, 2.05535, -1.39972, 0.38845],
        [811.760, 0.42977, 1.25182, -1.85164, 2.31949, -1.59101, 0.44155],
        [869.600, 0.45396, 1.25101, -2.02958, 2.75410, -2.02287, 0.59338],
    ]
)
# Wavelength (nm), A0 to A2. A. K. Pierce & C. D. Slaughter, "Solar limb darkening I: 303.3 to 729.7 nm",
# Solar Physics 51 (1977) 25-41, table III (second degree); three rows from a public
# transcription, not from the printed page; each sums to 1.
_PIERCE_SLAUGHTER = np.array(
    [
        [468.306, 0.21495, 0.99746, -0.21241],
        [552.200, 0.29462, 0.98032, -0.27494],
        [610.975, 0.34653, 0.92982, -0.27635],
    ]
)
# 1 - u2 (1 - mu) - v2 (1 - mu^2) at 550 nm with u2 = 0.93, v2 = -0.23: A. N. Cox (ed.), Allen's
# Astrophysical Quantities, 4th ed. (2000), ch. 14, as A0 to A2.
_ALLEN_COX = np.array([[550.0, 1 - 0.93 + 0.23, 0.93, -0.23]])

_TABLES = {"neckel-labs": _NECKEL_LABS, "pierce-slaughter": _PIERCE_SLAUGHTER, "allen-cox": _ALLEN_COX}

#: Names of the laws.
LIMB_LAWS = tuple(_TABLES)

#: Wavelengths near the dominant ones of the red, green and blue of a display (nm); common practice.
RGB_NM = (610.975, 550.0, 464.0)


def limb_coefficients(law: str, wavelengths_nm: Sequence[float]) -> npt.NDArray[np.float64]:
    """Polynomial coefficients A_i of a law at some wavelengths.

    Parameters
    ----------
    law : str
        One of :data:`LIMB_LAWS`: ``"neckel-labs"`` (fifth degree, 402 to 870 nm), ``"pierce-slaughter"``
        (quadratic, 468 to 611 nm) or ``"allen-cox"`` (quadratic, 550 nm, used at every wavelength).
    wavelengths_nm : sequence of float
        Between two rows of the table the coefficients are interpolated linearly; `pierce-slaughter` keeps
        its last row beyond the ends of its three.

    Returns
    -------
    ndarray, shape (wavelengths, degree + 1), rows normalised to sum 1.

    Raises
    ------
    UnknownNameError
        The law is unknown.
    InputError
        A wavelength lies outside 400 to 870 nm.
    """
    if law not in _TABLES:
        raise UnknownNameError("limb-darkening law", law, _TABLES)
    wavelengths = np.atleast_1d(np.asarray(wavelengths_nm, dtype=float))
    wrong = ~((wavelengths >= 400) & (wavelengths <= 870))
    if np.any(wrong):
        raise InputError("wavelengths_nm", "must be between 400 and 870", float(wavelengths[wrong][0]))
    table = _TABLES[law]
    columns = [np.interp(wavelengths, table[:, 0], column) for column in table[:, 1:].T]
    coefficients = np.stack(columns, axis=-1)
    return coefficients / coefficients.sum(axis=-1, keepdims=True)


def relative_intensity(
    mu: npt.ArrayLike, law: str = "neckel-labs", wavelength_nm: float = 550.0
) -> npt.NDArray[np.float64]:
    """I(mu)/I(1) of a law; `mu` from 0 (limb) to 1 (centre), any shape."""
    return np.polynomial.polynomial.polyval(np.asarray(mu, float), limb_coefficients(law, [wavelength_nm])[0])
