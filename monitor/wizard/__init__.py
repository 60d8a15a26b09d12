"""A set-up file made by asking: questions, the wiring drawn, the file written."""
