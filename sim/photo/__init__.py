"""Measuring a photo of the Sun: limb, squash, spots."""
