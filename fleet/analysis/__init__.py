"""Questions about the past, one module each, and the statistics they share."""
