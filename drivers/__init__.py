"""Where samples come from."""
