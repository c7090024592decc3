"""Pictures from plain arrays and the types of :mod:`whichsun.models`."""
