"""Published bands of crossover and delay, from memory."""

# McRuer & Jex 1967; AFFDL-TR-65-15: shown on the page, and where tests pin `sharp`
# inside them they pin our own intent, not a fact.
CROSSOVER_BAND = (3.0, 5.0)  # rad/s
DELAY_BAND = (0.15, 0.30)  # s
