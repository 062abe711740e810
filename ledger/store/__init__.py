"""The only SQL: the truth as append-only tables, the views made from it, and the one writer."""
