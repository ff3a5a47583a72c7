"""The set as triangles: what a ray meets, and what a rig stands in."""
