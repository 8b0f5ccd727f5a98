"""Whether a crown fits: on its die, in its walls, and against its neighbours."""
