"""Why a crown deviates from its design: causes, each with its size."""
