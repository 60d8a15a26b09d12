"""Samples looked at afterwards: what is kept of them, and how a stretch becomes columns, rows and words."""
