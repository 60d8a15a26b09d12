"""Key on, engine off: every wire of the hookup measured, judged, and told."""
