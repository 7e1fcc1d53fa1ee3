"""The window: the map in the middle, one question at a time, the day's clock below."""
