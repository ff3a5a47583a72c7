"""The crew at work live: one tick at a time, the bits of the whole shot at once."""
