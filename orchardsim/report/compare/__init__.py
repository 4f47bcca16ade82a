"""Page, sheet and tables of a comparison."""
