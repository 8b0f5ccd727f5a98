"""How designs and scans get in from files."""
