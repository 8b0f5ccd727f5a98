"""What every feature needs of Blender: meshes, units, jobs, picking."""
