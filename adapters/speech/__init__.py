"""Speech: phrases rendered in a child process, played from memory, in an order with rules."""
