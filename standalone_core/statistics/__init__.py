"""Statistics of studies: numbers in, frozen results out; nothing here knows what was measured.

The unit is whatever was produced once: one value each. Never a point of a surface.
"""
