"""What a solve leaves behind: takes, judgements and the sequence table."""
