"""Heat and moisture of a stapled pamphlet in a press, a chamber and on the rack."""
