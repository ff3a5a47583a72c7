"""The review: pages on which a night's takes are judged, made from what was written."""
