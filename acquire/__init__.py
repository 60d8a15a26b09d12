"""Samples in motion."""
