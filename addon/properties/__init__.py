"""What Cuspwise keeps in the .blend and in the preferences."""
