"""charts."""
