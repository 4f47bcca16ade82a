"""What open levels do to a plan's money: words, pictures and page."""
