"""Areas and support marks on the design."""
