"""The report of one check: page, terminal, tables."""
