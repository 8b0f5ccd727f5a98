"""Every crown and every pair of a study measured, kept, and taken up again."""
