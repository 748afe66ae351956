"""Numbers and arrays in, frozen results out: no record, file, clock or web."""
