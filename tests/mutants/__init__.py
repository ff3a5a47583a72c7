"""Small faults put into the program, each of which tests have to notice."""
