"""The version, in a module of its own so that nothing heavy loads to know it."""

VERSION = "0.1.0"
