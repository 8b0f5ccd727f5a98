"""The computing core of Cuspwise: numpy and scipy only, no Blender, no printing, no state.

What users need of it they find in :mod:`cuspwise`; DEVELOPERS.md holds the map of the rest. Long
functions have a twin ``…_steps`` in the same module, a generator of progress.
"""
