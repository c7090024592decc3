"""Scoring every geometry against the same measurements by the same likelihood."""
