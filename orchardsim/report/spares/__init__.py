"""Page and tables of a search for spares."""
