"""What is drawn in the 3D view and as pictures."""
