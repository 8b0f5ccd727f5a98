"""A checked tray as page, terminal table, CSV and plain data."""
