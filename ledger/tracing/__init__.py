"""Back to the drum and forward to the owner, with certainty; a pure walk over edges."""
