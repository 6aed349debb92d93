"""One file a page: read the filters, ask data.py, lay out. No query, no sum, no threshold lives here."""
