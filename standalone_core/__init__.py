"""The computing core of Cuspwise: numpy and scipy only, no Blender, no printing, no state."""
