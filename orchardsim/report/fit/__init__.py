"""Page and words of a fit to measured trees."""
