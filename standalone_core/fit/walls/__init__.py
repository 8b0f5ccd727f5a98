"""How thick a crown is."""
