"""The local marking page: a server for this machine alone, and its static files."""
