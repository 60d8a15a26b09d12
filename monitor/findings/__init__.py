"""From the pattern of misses and flags to where to look next: facts are collected, held against a table, and told."""
