"""How the hot loops are compiled, and where their machine code is kept."""
