"""Who was in service when, part by part: the one place where time at risk is worked out."""
