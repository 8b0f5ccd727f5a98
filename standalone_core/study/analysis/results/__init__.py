"""What the statistics of a study yield, in frozen rows."""
