"""The exact closest point on a triangle surface."""
