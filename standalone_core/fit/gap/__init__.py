"""How wide the space between a seated crown and its die is, inside and at the margin."""
