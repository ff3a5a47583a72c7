"""The set of a job: read from a scene once, baked to a file, and read from that."""
