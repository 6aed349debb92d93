"""The store: every table's description, the one place that opens DuckDB, numbered snapshots."""
