"""What falls on the ground: rates at places and on a raster, with or without the shadows of stones."""
