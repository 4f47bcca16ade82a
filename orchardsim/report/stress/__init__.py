"""Page and tables of bad seasons."""
