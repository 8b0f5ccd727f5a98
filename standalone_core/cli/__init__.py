"""The command line: its commands, its options, what it shows while it works."""
