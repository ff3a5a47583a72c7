"""The crew: what each member sees, believes, decides and does."""
