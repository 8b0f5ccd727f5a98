"""Why a crown deviates: causes with their sizes and intervals, and what to change."""
