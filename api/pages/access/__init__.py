"""Pages about who may come in: sign-in, one's own account, people, devices, and sign-in by another party's accounts."""
