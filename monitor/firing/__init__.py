"""Whose turn it was, and whether it was answered."""
