"""Why a crown deviates: causes, each with its size and its interval."""
