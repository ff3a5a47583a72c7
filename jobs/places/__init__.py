"""Where files lie: a folder or a bucket, read and written whole."""
