"""What leaves the house to be kept or shown elsewhere: archive and share."""
