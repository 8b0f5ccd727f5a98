"""What every page, terminal and panel says before its numbers are trusted."""

CAUTIONS = (
    "This is not a medical device.",
    "It supports, and never replaces, the judgement of a licensed professional and local rules.",
    "Sharp or hot tools and ceramic dust are the lab's own safety matter.",
    "Patient names do not belong in file names.",
)
