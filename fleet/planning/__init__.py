"""Questions about next summer, one module each, and the stocking arithmetic they share."""
