"""Data sets of textbooks, shared by the tests of the statistics."""

from __future__ import annotations

# Student's (1908) sleep data: extra hours of sleep under two drugs (from memory).
SLEEP = (
    [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0],
    [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4],
)

# Hollander & Wolfe, Nonparametric Statistical Methods: permeability of membranes.
MEMBRANES = (
    [0.80, 0.83, 1.89, 1.04, 1.45, 1.38, 1.91, 1.64, 0.73, 1.46],
    [1.15, 0.88, 0.90, 0.74, 1.21],
)

# Hollander & Wolfe: mucociliary efficiency of three groups (from memory).
MUCOCILIARY = {
    "normal": [2.9, 3.0, 2.5, 2.6, 3.2],
    "obstructive": [3.8, 2.7, 4.0, 2.4],
    "asbestosis": [2.8, 3.4, 3.7, 2.2, 2.0],
}

# Zar, Biostatistical Analysis: pH of four ponds, one value of the third lost.
PONDS = {
    "1": [7.68, 7.69, 7.70, 7.70, 7.72, 7.73, 7.73, 7.76],
    "2": [7.71, 7.73, 7.74, 7.74, 7.78, 7.78, 7.80, 7.81],
    "3": [7.74, 7.75, 7.77, 7.78, 7.80, 7.81, 7.84],
    "4": [7.71, 7.71, 7.74, 7.79, 7.81, 7.85, 7.87, 7.91],
}
