"""What a take is judged by, over the frames of its cut."""
