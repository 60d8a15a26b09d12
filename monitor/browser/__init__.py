"""The live screen in a browser: one process watches, one serves the page, one a browser draws what it asks for."""
