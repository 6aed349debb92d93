"""The pages: navigation and shared filters (app.py), cached reads (data.py), one thin file a page (app_pages/)."""
