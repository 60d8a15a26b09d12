"""A sine as a source of samples."""
