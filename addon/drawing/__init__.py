"""What is drawn in the 3D view."""
