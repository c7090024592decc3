"""The map of the site: contours where the density is, the given site, refusals."""

import numpy as np
import pytest
from whichsun.models.errors import InputError
from whichsun.render.site_band import draw_site_band
from whichsun.render.style import save_png


def band(span=20.0):
    latitude, longitude = np.linspace(-span, span, 81), np.linspace(170 - span, 170 + span, 101)
    density = np.exp(-0.5 * ((latitude[:, None] - 3) ** 2 + (longitude[None] - 172) ** 2) / 9)
    return {
        "latitude_deg": latitude, "longitude_deg": longitude, "density": density, "step_deg": 0.5,
        "levels": (0.32, 0.05), "given_deg": (3.0, 172.0),
    }  # fmt: skip


@pytest.mark.parametrize("span", [20.0, 89.0])
def test_it_draws_with_a_marked_site(span):
    artists = draw_site_band(band(span))
    figure = artists[0].figure
    ax = figure.axes[0]
    assert ax.get_title(loc="left") == "Where these photos may have been taken"
    assert artists[0].get_xdata()[0] == 172.0
    assert artists[0].get_ydata()[0] == 3.0
    assert len(save_png(figure, 800)) > 5000


def test_longitudes_beyond_180_are_written_as_west():
    ax = draw_site_band(band())[0].axes
    labels = [ax.xaxis.get_major_formatter()(x) for x in (170.0, 180.0, 190.0, 0.0)]
    assert labels == [
        "170\N{DEGREE SIGN} E",
        "180\N{DEGREE SIGN}",
        "170\N{DEGREE SIGN} W",
        "0\N{DEGREE SIGN}",
    ]


def test_it_draws_into_given_axes():
    from whichsun.render.style import new_figure

    figure = new_figure(800, 500)
    ax = figure.add_subplot()
    assert draw_site_band(band(), ax=ax)[0].axes is ax
    assert not figure.texts


def test_a_density_of_another_shape_is_refused():
    with pytest.raises(InputError, match="one row per latitude"):
        draw_site_band({**band(), "density": np.zeros((3, 3))})
