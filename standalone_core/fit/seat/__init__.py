"""Where a crown comes to rest on its die, what it rests on, and what holds it up."""
