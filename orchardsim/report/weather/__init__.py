"""Page of a station record."""
