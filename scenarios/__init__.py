"""Worked scenarios, all invented: no real outing, no real person."""
