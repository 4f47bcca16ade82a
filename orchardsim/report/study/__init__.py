"""Page and tables of a study."""
