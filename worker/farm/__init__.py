"""The farm: a job worked on by many machines over one queue."""
