"""Is a take different from what the toy does anyway? Baseline, distance, p value, decision."""
