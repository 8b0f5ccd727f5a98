"""The Blender extension: reads objects, calls the core, writes attributes."""
