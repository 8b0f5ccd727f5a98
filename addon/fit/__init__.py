"""How a crown fits, as Blender shows it."""
