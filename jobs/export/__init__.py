"""Takes delivered: as cameras of a scene, as tables, as pictures."""
