"""How a crown fits on its die: seated by the core, kept, shown on crown and die."""
