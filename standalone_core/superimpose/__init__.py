"""Lay a scan on its design: from any pose, by least squares on the surface, with a diagnosis."""
