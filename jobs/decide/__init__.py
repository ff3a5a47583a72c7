"""What was decided in the review, written back into the job."""
