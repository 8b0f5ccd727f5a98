"""The report of a study: page, terminal, tables, figures, methods text."""
