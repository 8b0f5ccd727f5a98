"""Words that every part says alike: names of areas and measures, and how text is put together."""
