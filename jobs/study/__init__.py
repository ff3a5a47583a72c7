"""Studies: cameras that were made elsewhere, measured against their subjects."""
