"""What a season's weather does to the trees: chill, bloom, frost, pollination, light, water, disease, harvest."""
