"""Chemistry of the alkaline bath."""
