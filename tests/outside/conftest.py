"""What several outside checks compare with."""

import warnings

import pytest


@pytest.fixture(scope="session")
def jpl():
    """Skyfield with its packaged DE421, the independent library."""
    import skyfield_data
    from skyfield.api import Loader

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the package warns about the age of a table that is not used here
        loader = Loader(skyfield_data.get_skyfield_data_path(), verbose=False)
        ephemeris = loader("de421.bsp")
    yield loader, ephemeris
    ephemeris.close()
