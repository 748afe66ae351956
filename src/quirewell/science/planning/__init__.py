"""Plans made by exact search: what goes when, and what that is worth."""
