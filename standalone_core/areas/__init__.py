"""Areas of a design, found from its shape alone; every threshold is in ``settings.py``.

- **path of insertion**: of a crown, the axis to which the walls of its cavity are inclined as
  evenly as possible; of an open shell, the normal of its border. It points to occlusal.
- **margin line**: of a crown, the crest of the rim, between external surface and intaglio; of an
  open shell, its longest border. On a flat rim that faces cervically it is the outer edge.
- **external**, **intaglio**: the two sides of the margin line.
- **margin**: all within 1 mm of the margin line along the surface, on every side there is.
- **occlusal**: the external surface whose normal lies within 60° of the path of insertion, in
  one piece, with the steeper places that it surrounds. **axial**: the rest of it.
- **fossae**: occlusal places that a ball of 1.5 mm radius, let down along the path of insertion
  onto the external surface, cannot come nearer than 0.03 mm to, measured along that path.
- **contact_mesial**, **contact_distal**: axial places within 1.5 mm, along the surface, of the
  place that stands out most to mesial or distal.

What a design does not have (a solid: no cavity, so no intaglio) is reported as missing.
"""
