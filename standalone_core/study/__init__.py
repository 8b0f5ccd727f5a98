"""A study: one design, groups of produced crowns, and what is asked of them."""
