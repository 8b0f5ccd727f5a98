"""The statistics of a measured study, from crowns to sentences."""
