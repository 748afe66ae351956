"""What leaves the house on paper: the treatment report and its drawings."""
