"""The benchmarks: one small module each, named in the table below.

A module has ``run(work)``, which gives its figures one by one. A figure is called like its group, or group, dot and a
word of its own. To add one: write the module, add its line here.
"""

GROUPS = {
    "store_read": "reading a GeoPackage of stones against fiona",
    "conform": "canonical form and content hash against one value after the other",
    "check": "a file of stones brought in or loaded, conformed and checked: time and memory",
    "edit": "one edit among many stones against replacing the layer",
    "condition": "hot spots against esda's permutations, rate map against scipy's kernel estimate",
    "routing": "stones a day of crews whose soaks overlap, against waiting beside each, and the walking matrix",
    "wetting": "pairs, faces and shadows against a spatial join, the raster against numpy; time, memory and growth",
    "window": "the desk while the day plan runs; the map: gestures, sharp pictures, a head dragged, opening, memory",
}
"""Name of the group, which is the name of its module, and what it measures."""
