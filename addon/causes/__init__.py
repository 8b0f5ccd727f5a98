"""Why the chosen scan deviates: found by the core, kept, shown on the design."""
