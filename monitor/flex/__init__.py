"""The flex test: harness and connectors moved by hand until something lets go, eyes on the harness."""
