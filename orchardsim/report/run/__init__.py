"""Pages, sheet, pictures and tables of a run."""
