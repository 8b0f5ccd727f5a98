"""Demo data by formula: an invented crown, produced crowns with known errors, and their truth.

``crown`` makes the design, ``production`` produces and scans it, ``truth`` says from the formulae
what a check must find, ``scenario`` is the built-in demo. No tooth, patient or machine stands
behind any of it.
"""
