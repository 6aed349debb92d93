"""From files to clean tables: sources, headers, values, checks, the account of every record."""
