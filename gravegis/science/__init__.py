"""Arrays in, arrays out: no frames, files, clock or drawing."""
