"""What is true of an item: frozen values, events, units, findings."""
