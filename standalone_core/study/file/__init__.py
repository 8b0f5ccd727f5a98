"""What a study file may say, and all that is wrong with one at once."""
