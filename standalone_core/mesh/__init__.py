"""Triangle surfaces: the data structure, files, health, evaluation points, neighbours."""
