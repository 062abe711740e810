"""The pages of the stations: what was done is recorded here, asked before the act and told after it."""
