"""What samples mean."""
