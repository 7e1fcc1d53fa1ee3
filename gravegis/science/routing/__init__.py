"""Walking times between stops, and which crew goes where in which order."""
