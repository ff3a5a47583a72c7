"""The job that `carrellata new` writes: one walker, one shot, everything to choose."""
