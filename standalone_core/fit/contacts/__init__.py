"""How a crown touches its neighbours and its antagonist."""
