"""One command a file: it parses, then calls. What takes long to import is imported inside."""
