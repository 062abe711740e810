"""Terms, partial serials and lot signals; pure."""
