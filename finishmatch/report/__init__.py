"""Results to one self-contained HTML page."""
