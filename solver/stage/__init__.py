"""The stage: where a rig may stand, and what it must keep clear of."""
