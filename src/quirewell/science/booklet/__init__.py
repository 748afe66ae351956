"""Making of the folded, stapled publication: gathering arithmetic."""
