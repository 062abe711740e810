"""Pages on what leaves the plant and what comes back."""
