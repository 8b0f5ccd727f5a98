"""Cuspwise: how far a produced dental crown is from its design, where, and why.

The repository root is the Python package and the Blender extension at once. Nothing heavy is
imported here; ``register`` and ``unregister`` are what Blender calls.
"""
