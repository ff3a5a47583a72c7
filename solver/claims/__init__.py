"""Claims: what a picture must tell, each measured on the frames of a take or trial."""
